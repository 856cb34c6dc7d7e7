"""Half cycles to aggregates of 10 or 12 cycles."""

import numpy as np
from numpy.typing import NDArray

from monitor.metering.half_cycles import HalfCycles
from monitor.metering.uncertainty import Doubt
from monitor.metering.waveform import conduction_degrees, waveform_kinds
from monitor.values import AggregateBlock

Floats = NDArray[np.float64]


class Aggregator:
    """Gathers half cycles into windows on a grid of their own numbers; windows with a hole in them are left out.

    Args:
        board: The board's name.
        districts: Names of the columns.
        hertz: Nominal mains frequency: 10 cycles are gathered at 50 Hz, 12 at 60 Hz (IEC 61000-4-30 section 4).
        doubt: Where uncertainties come from.
    """

    def __init__(self, board: str, districts: tuple[str, ...], hertz: float, doubt: Doubt) -> None:
        self._board = board
        self._districts = districts
        self._doubt = doubt
        self._size = 2 * max(1, round(0.2 * hertz))
        self._kept: HalfCycles | None = None

    def break_off(self) -> None:
        """A hole: what is gathered so far is not a whole window."""
        self._kept = None

    def feed(self, halves: HalfCycles, good: NDArray[np.bool_]) -> list[AggregateBlock]:
        """Aggregates that became complete.

        Args:
            halves: Following those fed before without a hole.
            good: Shape (d,): districts whose sensors are not known to lie.
        """
        self._kept = halves if self._kept is None else self._kept.joined(halves)
        early = int(-self._kept.number[0] % self._size)
        if early >= len(self._kept):
            return []
        self._kept = self._kept.sliced(early)
        whole = len(self._kept) // self._size
        if not whole:
            return []
        used = self._kept.sliced(0, whole * self._size)
        self._kept = self._kept.sliced(whole * self._size)
        return [self._block(used, whole, good)]

    def _block(self, used: HalfCycles, whole: int, good: NDArray[np.bool_]) -> AggregateBlock:
        weights = used.end_s - used.start_s
        starts = np.arange(0, len(used), self._size)
        seconds = np.add.reduceat(weights, starts)[:, None]

        def mean(values: Floats) -> Floats:
            return np.asarray(np.add.reduceat(values * weights[:, None], starts, axis=-2) / seconds)

        means = mean(used.means)
        volts_rms, amps_rms = np.sqrt(means[2:4])
        top = np.maximum.reduceat(used.peaks[0], starts, axis=0)
        bottom = np.minimum.reduceat(used.peaks[2], starts, axis=0)
        peaks = np.maximum.reduceat(used.peak_sizes, starts, axis=1)
        kinds, cut = waveform_kinds(volts_rms, means[0], top, bottom, mean(used.steep), self._doubt.volts_off)
        clipped = np.add.reduceat(used.clipped.sum(axis=0), starts, axis=0) > 0
        doubt = self._doubt.of(volts_rms, amps_rms, means[5], self._size / 2)
        return AggregateBlock(
            board=self._board,
            districts=self._districts,
            start_s=used.start_s[starts],
            end_s=used.end_s[starts + self._size - 1],
            volts_rms=volts_rms,
            amps_rms=amps_rms,
            volts_mean=means[0],
            amps_mean=means[1],
            watts=means[5],
            volts_peak=peaks[0],
            amps_peak=peaks[1],
            frequency_hz=np.add.reduceat(used.hertz * weights, starts) / seconds[:, 0],
            waveform=kinds,
            conduction_degrees=conduction_degrees(used.conduction, whole, cut),
            volts_uncertainty=doubt[0],
            amps_uncertainty=doubt[1],
            watts_uncertainty=doubt[2],
            good=good[None, :] & ~clipped & np.isfinite(volts_rms) & np.isfinite(amps_rms),
        )
