"""The one time grid: which row a reading falls into, and what the readings of a row come to.

Row k holds what is known after k x length up to (k + 1) x length: a reading that ends on an edge measured the time before it, so it
belongs to the earlier row. All lengths are whole numbers of the shortest row: a row of a second is ten rows of a tenth, exactly.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from monitor.values.arrays import Floats

ROW_S = 0.1
EDGE = 1e-6
"""Share of the shortest row: times that are nearer to an edge lie on it."""


def rows_of(end_s: Floats, length_s: float) -> NDArray[np.int64]:
    """The row of each reading by its end, seconds of the stream; what is known at 0 already belongs to the first."""
    shortest = np.ceil(end_s / ROW_S - EDGE).astype(np.int64) - 1
    return np.asarray(np.maximum(shortest, 0) // round(length_s / ROW_S))


def row_at(moment_s: float, length_s: float) -> int:
    """The row in which a moment falls."""
    return int(rows_of(np.array([moment_s]), length_s)[0])


def first_of_rows(rows: NDArray[np.int64]) -> NDArray[np.intp]:
    """Where each row of rising numbers begins."""
    return np.flatnonzero(np.diff(rows, prepend=rows[0] - 1))


def mean(values: Floats, firsts: NDArray[np.intp]) -> Floats:
    """Mean of each row over what is there; NaN where nothing is, as below."""
    good = np.isfinite(values)
    counts = np.add.reduceat(good.astype(np.float64), firsts, axis=0)
    sums = np.add.reduceat(np.where(good, values, 0.0), firsts, axis=0)
    means = np.full(counts.shape, np.nan)
    np.divide(sums, counts, out=means, where=counts > 0)
    return means


def rms(values: Floats, firsts: NDArray[np.intp]) -> Floats:
    """Root of the mean of the squares of each row."""
    return np.sqrt(mean(values**2, firsts))


def lowest(values: Floats, firsts: NDArray[np.intp]) -> Floats:
    """Lowest of each row."""
    return np.fmin.reduceat(values, firsts, axis=0)


def highest(values: Floats, firsts: NDArray[np.intp]) -> Floats:
    """Highest of each row."""
    return np.fmax.reduceat(values, firsts, axis=0)


REDUCTIONS: dict[str, Callable[[Floats, NDArray[np.intp]], Floats]] = {
    "rms": rms,
    "mean": mean,
    "lowest": lowest,
    "highest": highest,
}
