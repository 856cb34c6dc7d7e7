"""The bench as a beginner's board would send it: one-cycle RMS readings as lines of text."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.values import Identity
from monitor.values.arrays import Floats
from monitor.wire.encode import line

Counts = NDArray[np.int16]


@dataclass(frozen=True, slots=True, kw_only=True)
class LineStyle:
    """How a sketch writes its lines.

    Attributes:
        interval_ms: Between two rounds of readings.
        checksums: Share of lines that end in a checksum.
        watts: Share of lines that carry watts.
        jitter_ms: How late a round may be.
        damaged: Share of lines in which a character is wrong.
        greeting: A comment at the start.
        start_ms: Board time of the first scan.
    """

    interval_ms: int = 100
    checksums: float = 1.0
    watts: float = 1.0
    jitter_ms: int = 0
    damaged: float = 0.0
    greeting: str = "sketch started"
    start_ms: int = 0


class LineStream:
    """The line form, block by block; holds back one cycle."""

    def __init__(self, identity: Identity, hertz: float, style: LineStyle, rng: np.random.Generator) -> None:
        self._identity = identity
        self._style = style
        self._rng = rng
        self._cycle = max(round(1 / hertz / identity.scan_interval_s), 1)
        self._outputs = len(identity.channels) // 2
        self._tail = np.zeros((0, len(identity.channels)), dtype=np.int16)
        self._tail_scan = 0
        self._due_s = self._style.interval_ms / 1000
        self._due_identity_s = 0.0
        self._first = True
        self.first_reading_s: float | None = None

    def feed(self, counts: Counts) -> bytes:
        """Lines for the next scans; channels in pairs of volts and amps."""
        self._tail = np.concatenate([self._tail, counts])
        out = [line(f"# {self._style.greeting}")] if self._first else []
        self._first = False
        interval_s = self._identity.scan_interval_s
        while self._due_s <= (self._tail_scan + len(self._tail)) * interval_s:
            end = int(self._due_s / interval_s) - self._tail_scan
            out += self._round(self._tail[max(end - self._cycle, 0) : end])
            self._due_s += self._style.interval_ms / 1000
        keep = min(len(self._tail), self._cycle * 8)
        self._tail_scan += len(self._tail) - keep
        self._tail = self._tail[len(self._tail) - keep :]
        return b"".join(self._damaged(data) for data in out)

    def packets(self, counts: Counts) -> list[bytes]:
        """The same, line by line."""
        return self.feed(counts).splitlines(keepends=True)

    def _round(self, counts: Counts) -> list[bytes]:
        out = []
        style, now_s = self._style, self._due_s
        if now_s >= self._due_identity_s:
            self._due_identity_s = now_s + 1.0
            out.append(self._written(f"b,{self._identity.name},{self._outputs},{style.interval_ms}"))
        late = int(self._rng.integers(0, style.jitter_ms + 1))
        at_ms = (style.start_ms + round(now_s * 1000) + late) & 0xFFFFFFFF
        if self.first_reading_s is None:
            self.first_reading_s = now_s + late / 1000
        for n in range(self._outputs):
            volts, amps = self._units(counts, 2 * n), self._units(counts, 2 * n + 1)
            text = f"r,{at_ms},{n},{_rms(volts):.2f},{_rms(amps):.2f}"
            if self._rng.random() < style.watts:
                text += f",{float(np.mean(volts * amps)):.1f}"
            out.append(self._written(text))
        return out

    def _written(self, text: str) -> bytes:
        return line(text, with_checksum=bool(self._rng.random() < self._style.checksums))

    def _units(self, counts: Counts, channel: int) -> Floats:
        described = self._identity.channels[channel]
        units: Floats = (counts[:, channel].astype(np.float64) - described.zero_counts) * described.units_per_count
        return units

    def _damaged(self, data: bytes) -> bytes:
        if not self._style.damaged or self._rng.random() >= self._style.damaged:
            return data
        changed = bytearray(data)
        changed[int(self._rng.integers(0, len(data) - 1))] = int(self._rng.integers(33, 127))
        return bytes(changed)


def _rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(values * values))) if len(values) else 0.0
