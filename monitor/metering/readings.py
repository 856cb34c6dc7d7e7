"""Half cycles to one-cycle readings, and the time that each reading stands for."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from monitor.metering import thresholds as th
from monitor.metering.half_cycles import HalfCycles
from monitor.metering.uncertainty import Doubt
from monitor.values import ReadingBlock


class OneCycle:
    """Joins each two neighbouring half cycles to one cycle, in the sense of Urms(1/2) of IEC 61000-4-30 section 3."""

    def __init__(self, board: str, districts: tuple[str, ...], doubt: Doubt | None = None) -> None:
        self._board = board
        self._districts = districts
        self._doubt = doubt
        self._last: HalfCycles | None = None

    def feed(self, halves: HalfCycles) -> ReadingBlock | None:
        """Readings whose second half is among these; good says where nothing was clipped and there is a figure."""
        pairs = halves if self._last is None else HalfCycles.joined([self._last, halves])
        self._last = halves.sliced(-1)
        meet = pairs.end_s[:-1] == pairs.start_s[1:]
        if not meet.any():
            return None
        block = self._block(pairs)
        return block if meet.all() else block.where(meet)

    def _block(self, pairs: HalfCycles) -> ReadingBlock:
        weights = (pairs.end_s - pairs.start_s)[:, None]
        weighted = pairs.means * weights
        means = (weighted[:, :-1] + weighted[:, 1:]) / (weights[:-1] + weights[1:])
        volts_rms, amps_rms, far_volts_rms = np.sqrt(means[2:5])
        sizes = pairs.peak_sizes
        peaks = np.maximum(sizes[:, :-1], sizes[:, 1:])
        volts_clipped, amps_clipped = ((each[:-1] > 0) | (each[1:] > 0) for each in pairs.clipped)
        block = ReadingBlock(
            board=self._board,
            districts=self._districts,
            start_s=pairs.start_s[:-1],
            end_s=pairs.end_s[1:],
            volts_rms=volts_rms,
            amps_rms=amps_rms,
            volts_mean=means[0],
            amps_mean=means[1],
            watts=means[5],
            volts_peak=peaks[0],
            amps_peak=peaks[1],
            far_volts_rms=far_volts_rms,
            frequency_hz=pairs.hertz[1:],
            good=~(volts_clipped | amps_clipped) & np.isfinite(volts_rms) & np.isfinite(amps_rms),
            amps_clipped=amps_clipped,
            volts_clipped=volts_clipped,
        )
        return block if self._doubt is None else replace(block, u95=self._half_widths(self._doubt, block, pairs))

    @staticmethod
    def _half_widths(doubt: Doubt, block: ReadingBlock, pairs: HalfCycles) -> NDArray[np.float64]:
        conduction = 90 * (pairs.conduction[:-1] + pairs.conduction[1:])
        conduction[(pairs.steep[:-1] == 0) | (pairs.steep[1:] == 0)] = np.nan
        edge_doubt = (pairs.edge_doubt[:, :-1] + pairs.edge_doubt[:, 1:]) / 2
        return np.moveaxis(doubt.half_widths(block, conduction, np.zeros_like(conduction), edge_doubt), 0, 2)


class ReadingSpans:
    """The seconds that each reading of a board stands for, so that energies are sums of watts times seconds, wherever they are added up.

    That is the part of its window that no reading before it covers: half a cycle, or a whole one after a hole. Windows of a line board
    reach back to the row before, also over a hole: there a row stands as long as the one before it did.
    """

    def __init__(self) -> None:
        self._end_s = -np.inf
        self._before_s = np.nan

    def of(self, block: ReadingBlock) -> NDArray[np.float64]:
        """Seconds of each reading, shape (n,)."""
        ends_s = np.concatenate([[self._end_s], block.end_s])
        spans_s = np.maximum(0.0, block.end_s - np.maximum(block.start_s, ends_s[:-1]))
        # The first row of all has no row before it to reach back to, and tells nothing of what is usual.
        told_s = spans_s if np.isfinite(self._end_s) else np.concatenate([[np.nan], spans_s[1:]])
        before_s = np.concatenate([[self._before_s], told_s[:-1]])
        self._end_s, self._before_s = float(ends_s[-1]), float(told_s[-1])
        return np.where(spans_s > th.HOLE_TIMES * before_s, before_s, spans_s)
