"""The last minutes of every district in buckets of a fifth of a second."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.values.arrays import Floats
from monitor.values.grid import row_at, rows_of

BUCKET_S = 0.2
BUCKETS = 3000
"""Ten minutes; older buckets are overwritten."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendWindow:
    """Neighbouring buckets, n of them, of some districts, d of them. NaN stands for "nothing came".

    Attributes:
        first: Number of the first bucket; bucket k covers k * BUCKET_S to (k + 1) * BUCKET_S of the stream.
        volts_rms: Shape (n, d): RMS over the bucket, as amps_rms.
        volts_lowest: Lowest one-cycle reading in the bucket.
        amps_rms: RMS over the bucket.
        amps_highest: Highest one-cycle reading in the bucket: a short peak stays visible.
    """

    first: int
    volts_rms: Floats
    volts_lowest: Floats
    amps_rms: Floats
    amps_highest: Floats
    watts: Floats

    @property
    def start_s(self) -> Floats:
        """Shape (n,): where each bucket begins, seconds of the stream."""
        return np.arange(self.first, self.first + len(self.volts_rms), dtype=np.float64) * BUCKET_S


class Trend:
    """A ring of buckets over all districts; what is added may come in any cuts."""

    def __init__(self, districts: int) -> None:
        shape = (BUCKETS, districts)
        self._numbers = np.full(BUCKETS, -1, dtype=np.int64)
        self._sums = {name: np.zeros(shape) for name in ("volts", "amps", "watts")}
        self._counts = {name: np.zeros(shape) for name in ("volts", "amps", "watts")}
        self._volts_lowest = np.full(shape, np.inf)
        self._amps_highest = np.full(shape, -np.inf)

    def add(self, columns: Sequence[int], end_s: Floats, volts: Floats, amps: Floats, watts: Floats) -> None:
        """Add one-cycle readings.

        Args:
            columns: Which districts, d of them.
            end_s: Shape (n,), seconds of the stream.
            volts: RMS volts, shape (n, d), like the two that follow.
            amps: RMS amps.
            watts: Real power.
        """
        numbers = rows_of(end_s, BUCKET_S)
        for number in np.unique(numbers).tolist():
            slot = number % BUCKETS
            if number < self._numbers[slot]:
                continue
            if number > self._numbers[slot]:
                self._clear(slot, number)
            rows = numbers == number
            self._sum("volts", slot, columns, volts[rows] ** 2)
            self._sum("amps", slot, columns, amps[rows] ** 2)
            self._sum("watts", slot, columns, watts[rows])
            self._volts_lowest[slot, columns] = np.fmin(self._volts_lowest[slot, columns], np.fmin.reduce(volts[rows]))
            self._amps_highest[slot, columns] = np.fmax(self._amps_highest[slot, columns], np.fmax.reduce(amps[rows]))

    def window(self, last_s: float, buckets: int, columns: Sequence[int] | None = None) -> TrendWindow:
        """The buckets up to the one that holds a moment, that one included.

        Args:
            last_s: The moment, seconds of the stream.
            buckets: How many, BUCKETS at most.
            columns: Which districts; all when None.
        """
        last = row_at(last_s, BUCKET_S)
        wanted = np.arange(last - min(buckets, BUCKETS) + 1, last + 1)
        slots = wanted % BUCKETS
        rows = np.ix_(slots, np.arange(self._volts_lowest.shape[1]) if columns is None else np.asarray(columns, dtype=np.intp))
        held = (self._numbers[slots] == wanted)[:, None]
        return TrendWindow(
            first=int(wanted[0]),
            volts_rms=np.sqrt(self._mean("volts", rows, held)),
            volts_lowest=_finite(self._volts_lowest[rows], held),
            amps_rms=np.sqrt(self._mean("amps", rows, held)),
            amps_highest=_finite(self._amps_highest[rows], held),
            watts=self._mean("watts", rows, held),
        )

    def _clear(self, slot: int, number: int) -> None:
        self._numbers[slot] = number
        for table in (*self._sums.values(), *self._counts.values()):
            table[slot] = 0.0
        self._volts_lowest[slot], self._amps_highest[slot] = np.inf, -np.inf

    def _sum(self, name: str, slot: int, columns: Sequence[int], values: Floats) -> None:
        good = np.isfinite(values)
        self._sums[name][slot, columns] += np.where(good, values, 0.0).sum(axis=0)
        self._counts[name][slot, columns] += good.sum(axis=0)

    def _mean(self, name: str, rows: tuple[NDArray[np.intp], ...], held: NDArray[np.bool_]) -> Floats:
        counts = np.where(held, self._counts[name][rows], 0.0)
        means = np.full(counts.shape, np.nan)
        np.divide(self._sums[name][rows], counts, out=means, where=counts > 0)
        return means


def _finite(values: Floats, held: NDArray[np.bool_]) -> Floats:
    return np.where(held & np.isfinite(values), values, np.nan)
