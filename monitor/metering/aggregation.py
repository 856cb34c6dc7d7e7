"""Half cycles to aggregates of 10 or 12 cycles."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.metering import thresholds as th
from monitor.metering.half_cycles import HalfCycles
from monitor.metering.uncertainty import Doubt
from monitor.metering.waveform import FastRipple, WindowShapes, conduction_degrees, other_mains_seen, waveform_kinds
from monitor.values import AggregateBlock
from monitor.values.arrays import Bools, Floats, Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """Aggregates, and what the watch over the sensors wants to know of the same windows.

    Attributes:
        block: The aggregates; good says where nothing was clipped and there is a figure.
        told_s: Shape (n,): end of the half cycle that made each complete: its own last one, or where that is lost the next.
        spans: Shape (2, n, d): highest less lowest volts and amps.
        clipped: Shape (2, n, d): samples at the end of the converter's range.
        pulses: Shape (n, d): where volts are pulses that the scans cannot follow.
        restless: Shape (n, d): where next to no volts move by themselves, beyond the converter's noise.
        other_mains: Shape (n, d): where volts have the frequency of the other mains of the world, not that of the layout.
    """

    block: AggregateBlock
    told_s: Floats
    spans: Floats
    clipped: Floats
    pulses: Bools
    restless: Bools
    other_mains: Bools


class Aggregator:
    """Gathers half cycles into windows on a grid of their own numbers; a window with more holes than half cycles is left out."""

    def __init__(self, board: str, districts: tuple[str, ...], hertz: float, doubt: Doubt, ripple: FastRipple) -> None:
        self._board = board
        self._districts = districts
        self._doubt = doubt
        self._ripple = ripple
        self._hertz = hertz
        self._size = 2 * max(1, round(0.2 * hertz))
        self._kept: HalfCycles | None = None

    def feed(self, halves: HalfCycles) -> Gathered | None:
        """Aggregates that became complete."""
        kept = halves if self._kept is None else HalfCycles.joined([self._kept, halves])
        windows = kept.number // self._size
        over = kept.number[-1] % self._size == self._size - 1
        stop = len(kept) if over else int(np.searchsorted(windows, windows[-1]))
        self._kept = kept.sliced(stop)
        windows = windows[:stop]
        starts = np.flatnonzero(np.diff(windows, prepend=-1))
        full = np.diff(starts, append=stop) >= th.WINDOW_FULL_SHARE * self._size
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
        starts = np.flatnonzero(np.diff(windows, prepend=-1))
        tops, bottoms = np.maximum.reduceat(used.peaks[:2], starts, axis=1), np.minimum.reduceat(used.peaks[2:], starts, axis=1)
        clipped = np.add.reduceat(used.clipped, starts, axis=1)
        means, hertz = _means(used, starts)
        shapes = WindowShapes.of(used, starts, means)
        start_s, end_s = used.start_s[starts], used.end_s[np.append(starts[1:], len(used)) - 1]
        other_mains = self._other_mains(used, starts, shapes, hertz)
        fast_ripple = self._fast_ripple(shapes, start_s, end_s, other_mains)
        kinds, cut, pulses = waveform_kinds(shapes, self._doubt.volts_off, fast_ripple)
        (volts_rms, amps_rms), (volts_peak, amps_peak) = np.sqrt(means[2:4]), np.maximum(tops, -bottoms)
        block = AggregateBlock(
            board=self._board,
            districts=self._districts,
            start_s=start_s,
            end_s=end_s,
            volts_rms=volts_rms,
            amps_rms=amps_rms,
            volts_mean=means[0],
            amps_mean=means[1],
            watts=means[5],
            volts_peak=volts_peak,
            amps_peak=amps_peak,
            frequency_hz=hertz,
            waveform=kinds,
            conduction_degrees=conduction_degrees(used.conduction, starts, cut),
            **dict.fromkeys(("volts_u95", "amps_u95", "watts_u95"), np.full(volts_rms.shape, np.nan)),
            good=~clipped.any(axis=0) & ~pulses & np.isfinite(volts_rms) & np.isfinite(amps_rms),
            volts_clipped=clipped[0] > 0,
            amps_clipped=clipped[1] > 0,
        )
        return Gathered(
            block=self._with_intervals(block, used, starts, fast_ripple),
            told_s=told_s,
            spans=tops - bottoms,
            clipped=clipped,
            pulses=pulses,
            restless=(volts_rms < self._doubt.volts_off) & (fast_ripple >= self._doubt.volts_restless),
            other_mains=other_mains,
        )

    def _with_intervals(self, block: AggregateBlock, used: HalfCycles, starts: Ints, fast_ripple: Floats) -> AggregateBlock:
        edge_doubt = np.add.reduceat(used.edge_doubt, starts, axis=1) / np.diff(starts, append=len(used))[:, None]
        u95 = self._doubt.half_widths(block, block.conduction_degrees, fast_ripple, edge_doubt)
        return replace(block, volts_u95=u95[0], amps_u95=u95[1], watts_u95=u95[2])

    def _other_mains(self, used: HalfCycles, starts: Ints, shapes: WindowShapes, hertz: Floats) -> Bools:
        """Where volts have the frequency of the other mains and the grid does not run at its own."""
        on_grid = np.abs(hertz - self._hertz) < th.ON_GRID_HERTZ
        halves_hertz = np.diff(starts, append=len(used)) / np.add.reduceat(used.end_s - used.start_s, starts)
        return other_mains_seen(shapes, halves_hertz, self._hertz) & ~on_grid[:, None]

    def _fast_ripple(self, shapes: WindowShapes, starts_s: Floats, ends_s: Floats, other_mains: Bools) -> Floats:
        """RMS volts, shape (n, d); 0 where plain AC or nothing needs none, NaN where it is unknown."""
        found = np.zeros(shapes.rms.shape)
        off = shapes.rms < self._doubt.volts_off
        asked = np.where(off, shapes.swing >= self._doubt.volts_restless, shapes.doubtful & ~other_mains)
        for column in np.flatnonzero(asked.any(axis=0)).tolist():
            rows = asked[:, column]
            found[rows, column] = self._doubt.volts_beyond_noise(column, self._ripple.of(column, starts_s[rows], ends_s[rows]))
        found[found < th.STRANGE * shapes.ripple] = 0.0
        return found


def _means(used: HalfCycles, starts: Ints) -> tuple[Floats, Floats]:
    """Means over windows, weighed by time: shape (6, n, d) as HalfCycles has them, and of the frequency, shape (n,)."""
    weights = used.end_s - used.start_s
    seconds = np.add.reduceat(weights, starts)
    means = np.add.reduceat(used.means * weights[:, None], starts, axis=1) / seconds[:, None]
    return means, np.add.reduceat(used.hertz * weights, starts) / seconds
