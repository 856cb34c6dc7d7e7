"""Readings to aggregates of 10 or 12 cycles."""

import numpy as np
from numpy.typing import NDArray

from monitor.values import AggregateBlock, ReadingBlock, WaveformKind

Floats = NDArray[np.float64]


class Aggregator:
    """Interim: gathers non-overlapping cycles."""

    def __init__(self, hertz: float) -> None:
        self._halves = 2 * max(1, round(0.2 * hertz))
        self._kept: list[ReadingBlock] = []

    def feed(self, block: ReadingBlock) -> list[AggregateBlock]:
        """Aggregates that became complete."""
        self._kept.append(block)
        rows = {name: np.concatenate([getattr(kept, name) for kept in self._kept]) for name in _NAMES}
        whole = len(rows["end_s"]) // self._halves
        if not whole:
            return []
        used = whole * self._halves
        self._kept = [_slice(block, rows, used)]
        rms = {n: np.sqrt(_grouped(rows[n][:used] ** 2, whole, self._halves).mean(axis=1)) for n in ("volts_rms", "amps_rms")}
        means = {n: _grouped(rows[n][:used], whole, self._halves).mean(axis=1) for n in ("volts_mean", "amps_mean", "watts")}
        peaks = {n: _grouped(rows[n][:used], whole, self._halves).max(axis=1) for n in ("volts_peak", "amps_peak")}
        shape = rms["volts_rms"].shape
        none = np.full(shape, np.nan)
        return [
            AggregateBlock(
                board=block.board,
                districts=block.districts,
                start_s=rows["start_s"][: used : self._halves],
                end_s=rows["end_s"][self._halves - 2 : used : self._halves],
                frequency_hz=rows["frequency_hz"][: used : self._halves],
                waveform=tuple(
                    tuple(WaveformKind.SINE if v > 0.5 else WaveformKind.OFF for v in row) for row in rms["volts_rms"]
                ),
                conduction_degrees=none,
                volts_uncertainty=none,
                amps_uncertainty=none,
                watts_uncertainty=none,
                good=np.ones(shape, dtype=bool),
                **rms,
                **means,
                **peaks,
            )
        ]


_NAMES = (
    "start_s", "end_s", "volts_rms", "amps_rms", "volts_mean", "amps_mean", "watts", "volts_peak", "amps_peak",
    "far_volts_rms", "frequency_hz",
)  # fmt: skip


def _slice(block: ReadingBlock, rows: dict[str, Floats], used: int) -> ReadingBlock:
    return ReadingBlock(board=block.board, districts=block.districts, **{name: rows[name][used:] for name in _NAMES})


def _grouped(values: Floats, whole: int, size: int) -> Floats:
    return values.reshape(whole, size, -1)
