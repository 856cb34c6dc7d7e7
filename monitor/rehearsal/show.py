"""Packets of a scene, or of a bench that never ends, made a little at a time: memory stays bounded however long it runs."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from monitor.rehearsal.model import Bench
from monitor.rehearsal.model_acts import Act
from monitor.rehearsal.model_director import shifted
from monitor.rehearsal.model_specs import BenchSpec
from monitor.rehearsal.scene import Scene
from monitor.rehearsal.stream import BoardFaults, PackedStream
from monitor.rehearsal.stream_lines import LineStream, LineStyle

BLOCK_TICKS = 24
"""A quarter of a second: small enough not to hold up whoever shares the interpreter."""
_REMEMBERED_S = 600.0


@dataclass(frozen=True, slots=True)
class ShowPart:
    """What a board sends in some stretch of time.

    Attributes:
        packets: Whole packets (or lines), never to be cut by whoever drops some.
        end_s: Seconds since the board's first scan at which the stretch ends.
    """

    packets: list[bytes]
    end_s: float


class Show(Protocol):
    """Anything that a rehearsal board can send."""

    def next_part(self) -> ShowPart | None:
        """The next stretch; None after the last."""


class SceneShow:
    """A scene, once through."""

    def __init__(self, scene: Scene) -> None:
        rng = np.random.default_rng([scene.seed, 0x51])
        self._bench = Bench(scene.bench, scene.acts, rng)
        self._total = round(scene.seconds / self._bench.interval_s)
        self._stream = _stream(self._bench, scene.lines, scene.faults, rng)

    def next_part(self) -> ShowPart | None:
        """See `Show`."""
        if self._bench.scan >= self._total:
            return None
        packets = self._stream.packets(self._bench.advance(BLOCK_TICKS))
        return ShowPart(packets, self._bench.scan * self._bench.interval_s)


class EndlessShow:
    """A bench whose acts are written anew, round after round; scans count on without a jump.

    Attributes:
        bench: The bench that runs.
    """

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
        self._stream = _stream(self.bench, lines, BoardFaults(), self._rng)
        self._round = 0
        self._round_ends_s = 0.0

    def next_part(self) -> ShowPart:
        """See `Show`."""
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


def _stream(bench: Bench, lines: LineStyle | None, faults: BoardFaults, rng: np.random.Generator) -> PackedStream | LineStream:
    identity = bench.converter.identity
    return PackedStream(identity, faults, rng) if lines is None else LineStream(identity, bench.spec.mains_hertz, lines, rng)
