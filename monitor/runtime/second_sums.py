"""Sums and counts by whole seconds, for several columns at once."""

import numpy as np
from numpy.typing import NDArray

from monitor.values.arrays import Floats

Whole = NDArray[np.int64]

PARTS_KEPT = 200
"""Parts that wait to be added up; more are added up at once, so that memory grows with the seconds alone."""


class SecondSums:
    """Adds up figures by the second in which they fall; the result does not depend on how they were cut into blocks.

    Args:
        columns: How many figures come each time.
    """

    def __init__(self, columns: int) -> None:
        self._parts: list[tuple[Whole, Floats, Floats]] = [
            (np.zeros(0, np.int64), np.zeros((0, columns)), np.zeros((0, columns)))
        ]

    def add(self, at_s: Floats, values: Floats, there: NDArray[np.bool_]) -> None:
        """Take figures.

        Args:
            at_s: Shape (n,): seconds.
            values: Shape (n, columns).
            there: Shape (n, columns): which of them count.
        """
        seconds = np.floor(at_s).astype(np.int64)
        self._parts.append(_summed(seconds, np.where(there, values, 0.0), there.astype(np.float64)))
        if len(self._parts) > PARTS_KEPT:
            self._join()

    def table(self) -> tuple[Whole, Floats, Floats]:
        """Seconds in which anything came, rising, shape (k,); sums and counts of each, shape (k, columns)."""
        self._join()
        return self._parts[0]

    def _join(self) -> None:
        seconds, sums, counts = (np.concatenate(arrays) for arrays in zip(*self._parts, strict=True))
        self._parts = [_summed(seconds, sums, counts)]


def _summed(seconds: Whole, values: Floats, counts: Floats) -> tuple[Whole, Floats, Floats]:
    numbers, places = np.unique(seconds, return_inverse=True)
    columns = values.shape[1]
    cells = (places[:, None] * columns + np.arange(columns)).ravel()

    def by_second(figures: Floats) -> Floats:
        return np.asarray(np.bincount(cells, figures.ravel(), len(numbers) * columns), np.float64).reshape(-1, columns)

    return numbers, by_second(values), by_second(counts)
