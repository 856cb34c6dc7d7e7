"""A rehearsal board: sends a show through a real pseudo-terminal at the pace of a real board, and can be unplugged."""

import contextlib
import os
import tempfile
import threading
import time
import tty
from collections import deque
from pathlib import Path
from types import TracebackType
from typing import Self

from monitor.rehearsal.scene import Scene
from monitor.rehearsal.show import SceneShow, Show

BACKLOG_BYTES_LIMIT = 65_536
"""About three seconds of packed samples at real time: what nobody reads is dropped beyond that, oldest first, packet by packet."""
_TURN_S = 0.008


class RehearsalBoard:
    """A board that anybody can open like a serial port.

    Attributes:
        port: Path to open; stays the same over unplugging and plugging in again.
        packets_dropped: Packets that nobody read in time.
    """

    def __init__(self, show: Scene | Show, *, speed: float = 1.0, name: str = "board") -> None:
        """Set up.

        Args:
            show: What to send: a scene (once through) or any show.
            speed: Times real time.
            name: Last part of the port's path.
        """
        self._show: Show = SceneShow(show) if isinstance(show, Scene) else show
        self._speed = speed
        self._folder = tempfile.TemporaryDirectory(prefix="rehearsal-")
        self.port = str(Path(self._folder.name) / name)
        self.packets_dropped = 0
        self._waiting: deque[tuple[float, bytes]] = deque()
        self._backlog: deque[bytes] = deque()
        self._backlog_bytes = 0
        self._rest = b""
        self._made_s = 0.0
        self._over = False
        self._ends: tuple[int, int] | None = None
        self._plug = threading.Lock()
        self._halt = threading.Event()
        self._thread: threading.Thread | None = None
        self.failure: BaseException | None = None
        self.plug_in()

    def start(self) -> None:
        """Begin to send."""
        if self._thread is None:
            self._halt.clear()
            self._thread = threading.Thread(target=self._run, name="rehearsal-board", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """Stop for good; the port goes away."""
        self._halt.set()
        if self._thread is not None:
            self._thread.join(timeout=5)
            self._thread = None
        self.unplug()
        self._folder.cleanup()

    def unplug(self) -> None:
        """Pull the plug: whoever has the port open sees it go. The board loses what it could not send."""
        with self._plug:
            if self._ends is None:
                return
            Path(self.port).unlink(missing_ok=True)
            for end in self._ends:
                with contextlib.suppress(OSError):
                    os.close(end)
            self._ends = None

    def plug_in(self) -> None:
        """Plug in (again), under the same path."""
        with self._plug:
            if self._ends is not None:
                return
            board_end, host_end = os.openpty()
            tty.setraw(host_end)
            os.set_blocking(board_end, False)
            self._ends = (board_end, host_end)
            self._rest = b""
            link = Path(self.port)
            fresh = link.with_suffix(".new")
            fresh.symlink_to(os.ttyname(host_end))
            fresh.replace(link)

    @property
    def is_over(self) -> bool:
        """Whether a scene came to its end and everything was sent."""
        return self._over and not self._waiting and not self._backlog and not self._rest

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.stop()

    def _run(self) -> None:
        try:
            began_s = time.monotonic()
            while not self._halt.wait(_TURN_S):
                self._turn((time.monotonic() - began_s) * self._speed)
        except BaseException as error:
            self.failure = error
            raise

    def _turn(self, now_s: float) -> None:
        """One turn at a moment of the show: make ahead, hand over what is due, write what the port takes."""
        while not self._over and self._made_s < now_s + 0.02:
            self._make_part()
        while self._waiting and self._waiting[0][0] <= now_s:
            self._queue(self._waiting.popleft()[1])
        with self._plug:
            if self._ends is None:
                self._drop_all()
            else:
                self._write(self._ends[0])

    def _make_part(self) -> None:
        part = self._show.next_part()
        if part is None:
            self._over = True
            return
        step = (part.end_s - self._made_s) / max(len(part.packets), 1)
        self._waiting.extend((self._made_s + step * (n + 1), data) for n, data in enumerate(part.packets))
        self._made_s = part.end_s

    def _queue(self, data: bytes) -> None:
        self._backlog.append(data)
        self._backlog_bytes += len(data)
        while self._backlog_bytes > BACKLOG_BYTES_LIMIT * max(self._speed, 1.0):
            self._backlog_bytes -= len(self._backlog.popleft())
            self.packets_dropped += 1

    def _drop_all(self) -> None:
        self.packets_dropped += len(self._backlog)
        self._backlog.clear()
        self._backlog_bytes = 0
        self._rest = b""

    def _write(self, end: int) -> None:
        """Write until the port takes no more; a packet begun is always finished first."""
        while self._rest or self._backlog:
            if not self._rest:
                self._rest = self._backlog.popleft()
                self._backlog_bytes -= len(self._rest)
            try:
                written = os.write(end, self._rest)
            except BlockingIOError:
                return
            except OSError:
                self._rest = b""
                return
            self._rest = self._rest[written:]
