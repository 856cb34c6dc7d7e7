"""The server: one app to many viewers, in the clear or encrypted, to this machine or to the local network."""

import asyncio
import contextlib
import logging
import socket
import ssl
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import dash
import uvicorn
from uvicorn.server import ServerState

from dashboard.access import LOCAL_NAMES, Gate
from dashboard.asgi import AsgiApp
from dashboard.connections import BoundedConnection, ConnectionCounts
from dashboard.passphrase import default_path
from monitor.errors import PageError

if TYPE_CHECKING:
    from dashboard.certificate import Encryption

Maker = Callable[[Gate, bool], dash.Dash]
DEFAULT_HOST = "127.0.0.1"
DEFAULT_PORT = 8620
IDLE_VIEWER_S = 5
"""A connection on which nothing more is asked for is closed after this."""
HANDSHAKE_WITHIN_S = 10.0
DEAD_VIEWER_MS = 15_000
BACKLOG = 512
VIEWER_BUFFER_BYTES = 1 << 18
"""What the system holds for a viewer that reads slowly; beyond it, it misses ticks."""
FILES_WANTED = 4096
"""Connections amid a handshake are not counted by address yet; each takes a file handle."""
STOP_WITHIN_S = 10.0
"""How long closing may wait."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PageOptions:
    """Who may look, and how it is kept from others.

    Attributes:
        shared: Whether the local network may look.
        passphrase_file: Where the hash of the passphrase is that lets others act; the user's own when None.
        certificate: PEM file to encrypt with.
        key: PEM file of its key; None where it is in the same file.
        own_certificate: Encrypt with a certificate of the program's own where none is given.
        guided: Whether a strip leads through the demonstration.
    """

    shared: bool = False
    passphrase_file: Path | None = None
    certificate: Path | None = None
    key: Path | None = None
    own_certificate: bool = False
    guided: bool = False

    def encryption(self) -> "Encryption | None":
        """What to encrypt with, if at all."""
        if self.certificate is None and self.key is None and not self.own_certificate:
            return None
        # 0.1 s of processor and 16 MB that a page without encryption need not pay.
        from dashboard.certificate import Encryption, own_encryption  # noqa: PLC0415

        if self.certificate is not None:
            return Encryption(certificate=self.certificate, key=self.key, vouched=True)
        if self.key is not None:
            raise PageError("--key is of no use alone: give the certificate that belongs to it with --cert")
        return own_encryption(default_path().parent, own_address())


class Server:
    """Serves an app, in a thread of its own with ``start`` or in the caller's with ``run``.

    Args:
        make: Makes the app, given the gate and whether browsers are to insist on encryption.
        host: Where to listen.
        port: Where to listen; 0 takes a free one.
        options: Who may look, and encryption; this machine only, without it, when None.

    Attributes:
        port: Where it listens.
        address: What to type into a browser.
        fingerprint: Of the certificate; None where nothing is encrypted.
        certificate_ends_at: When browsers begin to refuse it; None likewise.

    Raises:
        PageError: The port is taken or may not be opened, or the certificate is of no use.
    """

    def __init__(
        self, make: Maker, host: str = DEFAULT_HOST, port: int = DEFAULT_PORT, options: PageOptions | None = None
    ) -> None:
        options = options or PageOptions()
        encryption = options.encryption()
        context = None if encryption is None else _tls_context(encryption.certificate, encryption.key)
        self.fingerprint = None if encryption is None else encryption.fingerprint()
        self.certificate_ends_at = None if encryption is None else encryption.ends_at()
        self._gate = Gate(_names(host, shared=options.shared), shared=options.shared)
        insist = encryption is not None and encryption.vouched
        self._make = lambda: make(self._gate, insist)
        app = self._make()
        listen_at = "0.0.0.0" if options.shared else host  # noqa: S104 - asked for by --share
        self._socket = _listening(listen_at, port)
        self._context = context
        self._app = AsgiApp(app.server)
        self.port = int(self._socket.getsockname()[1])
        scheme = "http" if context is None else "https"
        self.address = f"{scheme}://{own_address() if options.shared else host}:{self.port}/"
        self._loop: asyncio.AbstractEventLoop | None = None
        self._closing = threading.Event()
        self._end: asyncio.Event | None = None
        self._thread = threading.Thread(target=self.run, name="page server", daemon=True)

    def invitation(self, *, here: bool = False) -> str:
        """A new link that lets one device act, once and soon.

        Args:
            here: Whether that device is this machine, which need not go through its network.
        """
        address = self.address.replace(urlsplit(self.address).hostname or "", DEFAULT_HOST) if here else self.address
        return f"{address}enter#{self._gate.visits.invite()}"

    def start(self) -> None:
        """Begin to answer."""
        self._thread.start()

    def run(self) -> None:
        """Answer until closed or interrupted."""
        asyncio.run(self._serve())

    def close(self) -> None:
        """Stop answering; open streams are cut."""
        self._closing.set()
        if self._loop is not None and self._end is not None:
            with contextlib.suppress(RuntimeError):  # the loop is closed already
                self._loop.call_soon_threadsafe(self._end.set)
        if self._thread.is_alive():
            self._thread.join(STOP_WITHIN_S)
        self._socket.close()
        self._app.close()

    async def _serve(self) -> None:
        loop = asyncio.get_running_loop()
        self._end = asyncio.Event()
        self._loop = loop
        if self._closing.is_set():
            return
        config = uvicorn.Config(
            self._app,
            lifespan="off",
            ws="none",
            log_config=None,
            access_log=False,
            server_header=False,
            date_header=False,
            proxy_headers=False,  # they are never believed, but the gate has to see that a proxy stands between
            timeout_keep_alive=IDLE_VIEWER_S,
        )
        config.load()
        state, counts = ServerState(), ConnectionCounts()

        def connection() -> BoundedConnection:
            return BoundedConnection(counts, config=config, server_state=state, app_state={})

        server = await loop.create_server(
            connection,
            sock=self._socket,
            backlog=BACKLOG,
            ssl=self._context,
            ssl_handshake_timeout=None if self._context is None else HANDSHAKE_WITHIN_S,
        )
        await self._end.wait()
        server.close()
        for viewer in tuple(state.connections):
            viewer.transport.abort()
        for task in tuple(state.tasks):
            task.cancel()
        await asyncio.gather(*state.tasks, return_exceptions=True)


def own_address() -> str:
    """This machine's address in the local network; its loopback address where it has none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            # Sends nothing: it only asks which way a packet would leave. The address is one kept for documents (RFC 5737).
            asked.connect(("192.0.2.1", 9))
            return str(asked.getsockname()[0])
        except OSError:
            return DEFAULT_HOST


def _names(host: str, *, shared: bool) -> frozenset[str]:
    own = socket.gethostname().lower()
    return LOCAL_NAMES | {host} | ({own, f"{own}.local"} if shared else set())


def _listening(host: str, port: int) -> socket.socket:
    """A socket that takes connections from now on.

    Raises:
        PageError: The port is taken or may not be opened.
    """
    # Its own words about requests that are none, and about viewers that leave, help nobody.
    logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL)
    _raise_file_limit()
    try:
        listening = socket.create_server((host, port), backlog=BACKLOG)
    except OSError as error:
        raise PageError(
            f"the page cannot be served at {host}:{port} ({error.strerror}): another program may use that port; "
            "close it, or choose another with --web-port"
        ) from error
    listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, VIEWER_BUFFER_BYTES)
    if hasattr(socket, "TCP_USER_TIMEOUT"):
        # A viewer that never reads, or left without a word, gives its memory back.
        listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, DEAD_VIEWER_MS)
    return listening


def _raise_file_limit() -> None:
    with contextlib.suppress(ImportError, OSError, ValueError):
        import resource  # noqa: PLC0415 - not on Windows

        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        wanted = FILES_WANTED if hard == resource.RLIM_INFINITY else min(FILES_WANTED, hard)
        if soft < wanted:
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))


def _tls_context(certificate: Path, key: Path | None) -> ssl.SSLContext:
    """What a server needs to encrypt: TLS 1.2 or newer.

    Args:
        certificate: PEM file, the chain below it where there is one.
        key: PEM file of its key, without a passphrase; None where the key is in the certificate's file.

    Raises:
        PageError: They cannot be read or do not belong together.
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        # An empty answer instead of a prompt on the terminal, which nobody may be watching.
        context.load_cert_chain(certificate, key, password="")
    except OSError as error:
        raise PageError(
            f"the page cannot be encrypted with {certificate} and {key or certificate} ({error.strerror or error}): give the PEM "
            "file of a certificate with --cert and that of its key, without a passphrase, with --key"
        ) from error
    return context
