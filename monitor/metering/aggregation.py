"""Half cycles to aggregates of 10 or 12 cycles."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.metering.half_cycles import HalfCycles
from monitor.metering.uncertainty import Doubt
from monitor.metering.waveform import conduction_degrees, waveform_kinds
from monitor.values import AggregateBlock

Floats = NDArray[np.float64]

FULL_SHARE = 0.5
"""A window needs so large a share of its half cycles: where packets are lost the others still tell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """Aggregates, and what the watch over the sensors wants to know of the same windows.

    Attributes:
        block: The aggregates; good says where nothing was clipped and there is a figure.
        told_s: Shape (n,): end of the half cycle that made each complete: its own last one, or where that is lost the next.
        spans: Shape (2, n, d): highest less lowest volts and amps.
        clipped: Shape (2, n, d): samples at the end of the converter's range.
    """

    block: AggregateBlock
    told_s: Floats
    spans: Floats
    clipped: Floats


class Aggregator:
    """Gathers half cycles into windows on a grid of their own numbers; a window with more holes than half cycles is left out.

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

    def feed(self, halves: HalfCycles) -> Gathered | None:
        """Aggregates that became complete.

        Args:
            halves: Later than those fed before; there may be holes between any of them.
        """
        kept = halves if self._kept is None else HalfCycles.joined([self._kept, halves])
        windows = kept.number // self._size
        over = kept.number[-1] % self._size == self._size - 1
        stop = len(kept) if over else int(np.searchsorted(windows, windows[-1]))
        self._kept = kept.sliced(stop)
        windows = windows[:stop]
        starts = np.flatnonzero(np.diff(windows, prepend=-1))
        full = np.diff(starts, append=stop) >= FULL_SHARE * self._size
        if not full.any():
            return None
        ends = np.append(starts[1:], stop)
        finished = kept.number[ends - 1] % self._size == self._size - 1
        told_s = kept.end_s[np.where(finished, ends - 1, np.minimum(ends, len(kept) - 1))]
        if not full.all():
            keep = np.repeat(full, np.diff(starts, append=stop))
            return self._gathered(kept.sliced(0, stop).where(keep), windows[keep], told_s[full])
        return self._gathered(kept.sliced(0, stop), windows, told_s)

    def _gathered(self, used: HalfCycles, windows: NDArray[np.int64], told_s: Floats) -> Gathered:
        weights = used.end_s - used.start_s
        starts = np.flatnonzero(np.diff(windows, prepend=-1))
        seconds = np.add.reduceat(weights, starts)[:, None]

        def mean(values: Floats) -> Floats:
            return np.asarray(np.add.reduceat(values * weights[:, None], starts, axis=-2) / seconds)

        means = mean(used.means)
        volts_rms, amps_rms = np.sqrt(means[2:4])
        tops = np.maximum.reduceat(used.peaks[:2], starts, axis=1)
        bottoms = np.minimum.reduceat(used.peaks[2:], starts, axis=1)
        peaks = np.maximum(tops, -bottoms)
        kinds, cut = waveform_kinds(volts_rms, means[0], tops[0], bottoms[0], mean(used.steep), self._doubt.volts_off)
        clipped = np.add.reduceat(used.clipped, starts, axis=1)
        unknown = np.full(volts_rms.shape, np.nan)
        block = AggregateBlock(
            board=self._board,
            districts=self._districts,
            start_s=used.start_s[starts],
            end_s=used.end_s[np.append(starts[1:], len(used)) - 1],
            volts_rms=volts_rms,
            amps_rms=amps_rms,
            volts_mean=means[0],
            amps_mean=means[1],
            watts=means[5],
            volts_peak=peaks[0],
            amps_peak=peaks[1],
            frequency_hz=np.add.reduceat(used.hertz * weights, starts) / seconds[:, 0],
            waveform=kinds,
            conduction_degrees=conduction_degrees(used.conduction, starts, cut),
            volts_u95=unknown,
            amps_u95=unknown,
            watts_u95=unknown,
            good=~clipped.any(axis=0) & np.isfinite(volts_rms) & np.isfinite(amps_rms),
        )
        volts_u95, amps_u95, watts_u95 = self._doubt.of(block)
        block = replace(block, volts_u95=volts_u95, amps_u95=amps_u95, watts_u95=watts_u95)
        return Gathered(block=block, told_s=told_s, spans=tops - bottoms, clipped=clipped)
