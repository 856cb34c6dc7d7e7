"""Readings gathered into ticks of a fifth of a second on the stream's own grid."""

import numpy as np
from numpy.typing import NDArray

from monitor.protection import thresholds as th
from monitor.values import ReadingBlock
from monitor.values.arrays import Floats
from monitor.values.grid import mean, rows_of

TICK_S = 0.2


class BoardTicks:
    """Gathers the rows of one board; tick k covers readings known after k x TICK_S up to (k + 1) x TICK_S.

    Attributes:
        closed: The first tick that is not complete yet; None before anything came.
    """

    def __init__(self, districts: int) -> None:
        self.closed: int | None = None
        self._rows = np.zeros((0, 1 + 2 * districts))
        self._held = np.full((3, districts), np.nan)
        self._held_at = np.full(districts, -(10**9))

    def feed(self, block: ReadingBlock) -> tuple[int, Floats]:
        """Take readings.

        Returns:
            The number of the first tick that became complete, and volts, amps and VA of n complete ticks, shape (n, 3, d); NaN
            where nothing is known.
        """
        rows = np.concatenate([block.end_s[:, None], block.volts_rms, block.amps_rms], axis=1)
        rows = np.concatenate([self._rows, rows])
        numbers = rows_of(rows[:, 0], TICK_S)
        # Times may stumble when a clock is corrected: a row never falls back into a tick that is complete.
        numbers = np.maximum.accumulate(numbers if self.closed is None else np.maximum(numbers, self.closed))
        first = int(numbers[0]) if self.closed is None else self.closed
        last = int(numbers[-1])
        whole = numbers < last
        self._rows = rows[~whole]
        self.closed = last
        return first, self._means(rows[whole], numbers[whole], first, last - first)

    def _means(self, rows: Floats, numbers: NDArray[np.int64], first: int, count: int) -> Floats:
        districts = (rows.shape[1] - 1) // 2
        means = np.full((count, 3, districts), np.nan)
        if len(rows):
            present, starts = np.unique(numbers, return_index=True)
            volts, amps = rows[:, 1 : 1 + districts], rows[:, 1 + districts :]
            for place, values in enumerate((volts**2, amps**2, volts * amps)):
                found = mean(values, starts)
                means[present - first, place] = found if place == 2 else np.sqrt(found)
        self._hold(means, first)
        return means

    def _hold(self, means: Floats, first: int) -> None:
        """Fill ticks without readings from the ones before, for a while."""
        known: NDArray[np.bool_] = np.logical_and.reduce(np.isfinite(means), axis=1)
        if known.all() and len(known):
            self._held, self._held_at = means[-1].copy(), np.full(len(self._held_at), first + len(known) - 1)
            return
        numbers = np.arange(first, first + len(means))[:, None]
        last = np.maximum.accumulate(np.where(known, numbers, self._held_at), axis=0)
        row, column = np.nonzero(~known & (numbers - last <= th.HOLD_S / TICK_S))
        source = last[row, column] - first
        # Those known from before this block stand in what is held, the others above.
        before = source < 0
        means[row[before], :, column[before]] = self._held[:, column[before]].T
        means[row[~before], :, column[~before]] = means[source[~before], :, column[~before]]
        if len(means):
            seen = known.any(axis=0)
            self._held[:, seen] = means[last[-1, seen] - first, :, seen].T
            self._held_at = last[-1].copy()
