"""A rehearsal board: makes a show a little at a time and sends it through a port like a real one's; it can be unplugged."""

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Self

import numpy as np

from monitor.rehearsal.board_port import board_port
from monitor.rehearsal.model import Bench
from monitor.rehearsal.model_acts import Act
from monitor.rehearsal.model_director import shifted
from monitor.rehearsal.model_specs import BenchSpec
from monitor.rehearsal.scene import Scene
from monitor.rehearsal.stream import BoardFaults, LineStyle, board_stream

BLOCK_TICKS = 24
"""A quarter of a second: small enough not to hold up other threads."""
_REMEMBERED_S = 600.0


@dataclass(frozen=True, slots=True)
class ShowPart:
    """What a board sends in some stretch of time.

    Attributes:
        packets: Whole packets (or lines), never to be cut where some are dropped.
        end_s: Seconds since the board's first scan at which the stretch ends.
    """

    packets: list[bytes]
    end_s: float


class SceneShow:
    """A scene, once through."""

    def __init__(self, scene: Scene) -> None:
        rng = np.random.default_rng([scene.seed, 0x51])
        self._bench = Bench(scene.bench, scene.acts, rng)
        self._total = round(scene.seconds / self._bench.interval_s)
        self._stream = board_stream(self._bench.converter.identity, scene.bench.mains_hertz, scene.lines, scene.faults, rng)

    def next_part(self) -> ShowPart | None:
        """The next stretch; None after the last."""
        if self._bench.scan >= self._total:
            return None
        packets = self._stream.packets(self._bench.advance(BLOCK_TICKS))
        return ShowPart(packets, self._bench.scan * self._bench.interval_s)


class EndlessShow:
    """A bench whose acts are written again, round after round; scans count on without a jump."""

    def __init__(
        self,
        spec: BenchSpec,
        write_round: Callable[[np.random.Generator, int], tuple[Sequence[Act], float]],
        react: Callable[[Bench], Sequence[Act]],
        seed: int = 0,
        lines: LineStyle | None = None,
    ) -> None:
        """Set up.

        Args:
            spec: What stands on the bench.
            write_round: Gives the acts of a round (times from its beginning) and how long it is, for its number.
            react: Asked after each stretch what people would do now; acts that lie ahead.
            seed: What everything is drawn from.
            lines: How its board writes lines of readings; None for one that sends waveforms.
        """
        self._rng = np.random.default_rng([seed, 0xF0])
        self.bench = Bench(spec, (), self._rng)
        self._write_round = write_round
        self._react = react
        self._stream = board_stream(self.bench.converter.identity, spec.mains_hertz, lines, BoardFaults(), self._rng)
        self._round = 0
        self._round_ends_s = 0.0

    def next_part(self) -> ShowPart:
        """The next stretch."""
        now_s = self.bench.scan * self.bench.interval_s
        if now_s + 1.0 >= self._round_ends_s:
            acts, seconds = self._write_round(self._rng, self._round)
            self.bench.schedule(shifted(acts, self._round_ends_s))
            self._round += 1
            self._round_ends_s += seconds
            self.bench.truth.forget_before(self.bench.scan - round(_REMEMBERED_S / self.bench.interval_s))
        packets = self._stream.packets(self.bench.advance(BLOCK_TICKS))
        self.bench.schedule(self._react(self.bench))
        return ShowPart(packets, self.bench.scan * self.bench.interval_s)


BACKLOG_BYTES_LIMIT = 65_536
"""About three seconds of packed samples at real time: what is not read is dropped beyond that, oldest first, packet by packet."""
_TURN_S = 0.008


class RehearsalBoard:
    """A board that anybody can open like a serial port.

    Attributes:
        port: Path (or URL) to open; stays the same over unplugging and plugging in again.
        packets_dropped: Packets that were not read in time.
    """

    def __init__(self, show: Scene | EndlessShow, *, speed: float = 1.0, name: str = "board") -> None:
        """Send a scene (once through) or any show, at so many times real time; the name is the last part of the port's path."""
        self._show = SceneShow(show) if isinstance(show, Scene) else show
        self._speed = speed
        self._port = board_port(name)
        self.port = self._port.address
        self.packets_dropped = 0
        self._waiting: deque[tuple[float, bytes]] = deque()
        self._backlog: deque[bytes] = deque()
        self._backlog_bytes = 0
        self._rest = b""
        self._made_s = 0.0
        self._over = False
        self._is_plugged = False
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
        self._port.close()

    def unplug(self) -> None:
        """Pull the plug: the program that has the port open sees it go. The board loses what it could not send."""
        with self._plug:
            if self._is_plugged:
                self._port.unplug()
            self._is_plugged = False

    def plug_in(self) -> None:
        """Plug in (again), under the same path."""
        with self._plug:
            if not self._is_plugged:
                self._port.plug_in()
                self._rest = b""
            self._is_plugged = True

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
            if self._is_plugged:
                self._write()
            else:
                self._drop_all()

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

    def _write(self) -> None:
        """Write until the port takes no more; a packet begun is always finished first."""
        while self._rest or self._backlog:
            if not self._rest:
                self._rest = self._backlog.popleft()
                self._backlog_bytes -= len(self._rest)
            try:
                written = self._port.write(self._rest)
            except BlockingIOError:
                return
            except OSError:
                self._rest = b""
                return
            self._rest = self._rest[written:]
