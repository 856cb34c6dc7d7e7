"""What a rehearsal board is read from: a pseudo-terminal, or a TCP socket of this computer where the system has none (Windows)."""

import contextlib
import os
import socket
import tempfile
from pathlib import Path

try:
    import tty

    HAS_TERMINALS = hasattr(os, "openpty")
except ImportError:  # not on Windows
    HAS_TERMINALS = False


class PtyPort:
    """The board's end of a pseudo-terminal, under a path of its own.

    Attributes:
        address: What a reader opens, as the layout file writes it; stays the same over unplugging and plugging in again.
    """

    def __init__(self, name: str) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="rehearsal-")
        self.address = str(Path(self._folder.name) / name)
        self._ends = (-1, -1)

    def plug_in(self) -> None:
        """Let readers find it (again)."""
        board_end, host_end = os.openpty()
        tty.setraw(host_end)
        os.set_blocking(board_end, False)
        self._ends = (board_end, host_end)
        link = Path(self.address)
        fresh = link.with_suffix(".new")
        fresh.symlink_to(os.ttyname(host_end))
        fresh.replace(link)

    def unplug(self) -> None:
        """Readers see it go."""
        Path(self.address).unlink(missing_ok=True)
        for end in self._ends:
            with contextlib.suppress(OSError):
                os.close(end)

    def write(self, data: bytes) -> int:
        """Hand over; gives the bytes taken.

        Raises:
            BlockingIOError: It takes none now.
            OSError: The reader has gone, and what it was being sent with it.
        """
        return os.write(self._ends[0], data)

    def close(self) -> None:
        """Gone for good."""
        self._folder.cleanup()


class SocketPort:
    """A TCP port that only this computer reaches, for one reader at a time."""

    def __init__(self) -> None:
        self._listener: socket.socket | None = None
        self._reader: socket.socket | None = None
        self._place = ("127.0.0.1", 0)
        self.plug_in()
        self.unplug()
        self.address = f"socket://{self._place[0]}:{self._place[1]}"

    def plug_in(self) -> None:
        """See `PtyPort`."""
        self._listener = socket.create_server(self._place, backlog=1)
        self._listener.setblocking(False)  # noqa: FBT003 (the library's own form)
        self._place = self._listener.getsockname()

    def unplug(self) -> None:
        """See `PtyPort`."""
        for end in (self._reader, self._listener):
            if end is not None:
                end.close()
        self._reader = self._listener = None

    def write(self, data: bytes) -> int:
        """See `PtyPort`."""
        if self._reader is None:
            if self._listener is None:
                raise BlockingIOError
            self._reader = self._listener.accept()[0]
            self._reader.setblocking(False)  # noqa: FBT003 (the library's own form)
        try:
            return self._reader.send(data)
        except BlockingIOError:
            raise
        except OSError:
            self._reader.close()
            self._reader = None
            raise

    def close(self) -> None:
        """Nothing is left behind."""


BoardPort = PtyPort | SocketPort


def board_port(name: str) -> BoardPort:
    """A port as this system has them; the name is the last part of its path, where it has one."""
    return PtyPort(name) if HAS_TERMINALS else SocketPort()
