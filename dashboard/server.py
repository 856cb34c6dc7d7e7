"""The server: one app to many viewers, in the clear or encrypted, to this machine or to the local network."""

import logging
import socket
import ssl
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import dash
from waitress import wasyncore
from waitress.channel import HTTPChannel
from waitress.server import BaseWSGIServer, MultiSocketServer, create_server

from dashboard.access import LOCAL_NAMES, Gate
from dashboard.certificate import Encryption, own_encryption
from dashboard.feed import STREAMS_LIMIT
from dashboard.passphrase import default_path
from dashboard.tls_channel import encrypted, tls_context
from monitor.errors import PageError

Maker = Callable[[Gate, bool], dash.Dash]
DEFAULT_HOST = "127.0.0.1"
DEFAULT_PORT = 8620
THREADS = STREAMS_LIMIT + 16
"""More than viewers: each event stream holds one."""
CONNECTIONS_LIMIT = 400
VIEWER_BUFFER_BYTES = 1 << 18
"""What is held for a viewer that reads slowly; beyond it, it misses ticks."""
DEAD_VIEWER_MS = 15_000
IDLE_VIEWER_S = 30
"""A connection on which nothing is asked for so long is closed: whoever opens many keeps nobody else out for good."""
LOOP_S = 0.5
"""How long closing may wait for the loop to notice."""
STOP_WITHIN_S = 10.0
"""How long closing may wait for what is being answered."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PageOptions:
    """Who may look, and how it is kept from others.

    Attributes:
        shared: Whether the local network may look.
        passphrase_file: Where the hash of the passphrase is that lets others act; the user's own when None.
        certificate: PEM file to encrypt with.
        key: PEM file of its key; None where it is in the same file.
        own_certificate: Encrypt with a certificate of the program's own where none is given.
    """

    shared: bool = False
    passphrase_file: Path | None = None
    certificate: Path | None = None
    key: Path | None = None
    own_certificate: bool = False

    def encryption(self) -> Encryption | None:
        """What to encrypt with, if at all."""
        if self.certificate is not None:
            return Encryption(certificate=self.certificate, key=self.key, vouched=True)
        if self.key is not None:
            raise PageError("--key is of no use alone: give the certificate that belongs to it with --cert")
        return own_encryption(default_path().parent, own_address()) if self.own_certificate else None


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
        context = None if encryption is None else tls_context(encryption.certificate, encryption.key)
        self.fingerprint = None if encryption is None else encryption.fingerprint()
        self.certificate_ends_at = None if encryption is None else encryption.ends_at()
        self._sockets: dict[int, wasyncore.dispatcher] = {}
        self._gate = Gate(_names(host, shared=options.shared), shared=options.shared)
        insist = encryption is not None and encryption.vouched
        app = make(self._gate, insist)
        listen_at = "0.0.0.0" if options.shared else host  # noqa: S104 - asked for by --share
        self._server = _open(app, (listen_at, port), self._sockets, context)
        self.port = _port_of(self._server)
        scheme = "http" if context is None else "https"
        self.address = f"{scheme}://{own_address() if options.shared else host}:{self.port}/"
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self.run, name="pages", daemon=True)

    def invitation(self) -> str:
        """A new link that lets one device act, once and soon; the link before it is worth nothing any more."""
        return f"{self.address}enter#{self._gate.visits.invite()}"

    def start(self) -> None:
        """Begin to answer."""
        self._thread.start()

    def run(self) -> None:
        """Answer until closed or interrupted."""
        try:
            while not self._closing.is_set():
                wasyncore.loop(timeout=LOOP_S, use_poll=True, map=self._sockets, count=1)
        finally:
            self._put_away()

    def close(self) -> None:
        """Stop answering; open streams are cut."""
        self._closing.set()
        if self._thread.is_alive():
            self._thread.join(timeout=LOOP_S + STOP_WITHIN_S)
        elif self._sockets:
            self._put_away()

    def _put_away(self) -> None:
        """Cut the viewers, let the threads that served them end, and only then close what those threads wake the loop with."""
        for viewer in [each for each in self._sockets.values() if isinstance(each, HTTPChannel)]:
            viewer.handle_close()
        dispatcher = self._server.task_dispatcher
        dispatcher.shutdown(timeout=STOP_WITHIN_S)
        if not dispatcher.threads:
            wasyncore.close_all(self._sockets, ignore_all=True)


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


def _open(
    app: dash.Dash, at: tuple[str, int], sockets: dict[int, wasyncore.dispatcher], context: ssl.SSLContext | None
) -> BaseWSGIServer | MultiSocketServer:
    host, port = at
    # Its only warning is that all threads are busy, which is by design while streams are open.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    try:
        server = create_server(
            app.server,
            map=sockets,
            host=host,
            port=port,
            threads=THREADS,
            connection_limit=CONNECTIONS_LIMIT,
            channel_timeout=IDLE_VIEWER_S,
            cleanup_interval=IDLE_VIEWER_S // 3,
            url_scheme="http" if context is None else "https",
            outbuf_high_watermark=VIEWER_BUFFER_BYTES,
            max_request_body_size=1 << 20,
            ident=None,
            clear_untrusted_proxy_headers=False,  # they are never believed, but the gate has to see that a proxy stands between
            log_socket_errors=False,  # viewers come and go; that is no error
        )
    except OSError as error:
        wasyncore.close_all(sockets, ignore_all=True)
        raise PageError(
            f"the page cannot be served at {host}:{port} ({error.strerror}): another program may use that port; "
            "close it, or choose another with --web-port"
        ) from error
    server.adj.socket_options = _socket_options()
    if context is not None:
        for listening in [each for each in sockets.values() if isinstance(each, BaseWSGIServer)]:
            listening.channel_class = encrypted(context)
    return server


def _port_of(server: BaseWSGIServer | MultiSocketServer) -> int:
    if isinstance(server, MultiSocketServer):
        return int(server.effective_listen[0][1])
    return int(server.effective_port)


def _socket_options() -> list[tuple[int, int, int]]:
    options = [(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1), (socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)]
    if hasattr(socket, "TCP_USER_TIMEOUT"):
        # A viewer that never reads, or left without a word, gives its thread back.
        options.append((socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, DEAD_VIEWER_MS))
    return options
