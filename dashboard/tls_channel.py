"""Encryption inside the page server: waitress's own loop and threads, with TLS between them and the network.

Waitress knows no TLS. A channel that wraps its socket keeps everything else as it is: viewers that say nothing cost no thread, not even
amid a handshake, and those that never read are given up as without encryption.
"""

import contextlib
import socket
import ssl
import threading
from collections.abc import Callable
from pathlib import Path

from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.server import BaseWSGIServer
from waitress.wasyncore import dispatcher

from monitor.errors import PageError

NOT_ENCRYPTED = (
    b"HTTP/1.1 400 Bad Request\r\nContent-Type: text/plain\r\nConnection: close\r\n\r\n"
    b"This page is encrypted: write https:// before its address.\n"
)
_LATER = (ssl.SSLWantReadError, ssl.SSLWantWriteError)


def tls_context(certificate: Path, key: Path | None) -> ssl.SSLContext:
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


def encrypted(context: ssl.SSLContext) -> Callable[..., HTTPChannel | None]:
    """What waitress calls for each viewer that connects."""

    def channel(
        server: BaseWSGIServer,
        sock: socket.socket,
        addr: tuple[str, int],
        adj: Adjustments,
        map: dict[int, dispatcher] | None = None,  # noqa: A002 - waitress calls it so
    ) -> HTTPChannel | None:
        try:
            wrapped = context.wrap_socket(sock, server_side=True, do_handshake_on_connect=False)
        except OSError:  # gone already
            sock.close()
            return None
        return TlsChannel(server, wrapped, addr, adj, map=map)

    return channel


class TlsChannel(HTTPChannel):  # type: ignore[misc] # waitress is untyped
    """One viewer, encrypted.

    Args:
        server: Whose viewer.
        sock: The encrypted connection, before its handshake.
        addr: The viewer's address.
        adj: Waitress's settings.
        map: Waitress's sockets.
    """

    def __init__(
        self,
        server: BaseWSGIServer,
        sock: ssl.SSLSocket,
        addr: tuple[str, int],
        adj: Adjustments,
        map: dict[int, dispatcher] | None = None,  # noqa: A002 - waitress calls it so
    ) -> None:
        self._is_open = False
        self._waits_to_write = False
        self._came = b""
        self._tls = threading.Lock()  # the library must not be asked to read and to write one connection at once
        super().__init__(server, sock, addr, adj, map=map)

    def readable(self) -> bool:
        """Whether to listen to the viewer."""
        return not self.will_close and (not self._is_open or bool(super().readable()))

    def writable(self) -> bool:
        """Whether there is something to do as soon as bytes can go out."""
        return bool(super().writable()) if self._is_open else self._waits_to_write or self.will_close

    def handle_read(self) -> None:
        """Go on with the handshake, or take what came."""
        if not self._is_open:
            self._shake_hands()
            return
        while self.connected and (came := self._decrypted()) is not None:
            self._came = came
            super().handle_read()
            # What the library holds back of a record wakes nobody: take it now.
            if not self.connected or not self.socket.pending():
                return

    def handle_write(self) -> None:
        """Go on with the handshake, or with sending."""
        if self._is_open or self.will_close:
            super().handle_write()
        else:
            self._shake_hands()

    def recv(self, buffer_size: int) -> bytes:
        """What :meth:`handle_read` took; nothing where the viewer has left."""
        del buffer_size
        came, self._came = self._came, b""
        if not came:
            self.handle_close()
        return came

    def send(self, data: bytes, do_close: bool = True) -> int:  # noqa: FBT001, FBT002 - waitress's own signature
        """How much could be sent without waiting."""
        try:
            with self._tls:
                return int(super().send(data, do_close=do_close))
        except _LATER:
            return 0

    def _decrypted(self) -> bytes | None:
        """What came; None where it is not whole yet, nothing where the viewer has left."""
        try:
            with self._tls:
                return bytes(self.socket.recv(self.adj.recv_bytes))
        except _LATER:
            return None
        except OSError:
            return b""

    def _shake_hands(self) -> None:
        self._waits_to_write = False
        try:
            self.socket.do_handshake()
            self._is_open = True
        except ssl.SSLWantReadError:
            pass
        except ssl.SSLWantWriteError:
            self._waits_to_write = True
        except OSError as error:
            if getattr(error, "reason", None) == "HTTP_REQUEST":
                with contextlib.suppress(OSError):
                    socket.socket.send(self.socket, NOT_ENCRYPTED)  # below the encryption: it never began
            self.handle_close()
