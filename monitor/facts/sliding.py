"""Sliding figures: what a few rows in a row have in common, at every row and for all columns at once."""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from monitor.values.arrays import Floats

Scalar = TypeVar("Scalar", np.float64, np.bool_)


def rows_before(array: Floats, span: slice, width: int, gap: int) -> Floats:
    """The rows that windows of ``width`` look at which end ``gap`` rows before each row of the span; NaN before the start.

    Returns:
        Shape (n + width - 1, d) for a span of n rows: the window of row k is rows k..k+width-1.
    """
    first = span.start - width - gap + 1
    rows = array[max(0, first) : max(0, span.stop - gap)]
    missing = span.stop - span.start + width - 1 - len(rows)
    return rows if missing <= 0 else np.concatenate([np.full((missing, array.shape[1]), np.nan), rows])


def sliding(extreme: np.ufunc, rows: NDArray[Scalar], width: int) -> NDArray[Scalar]:
    """The extreme of each ``width`` rows in a row, shape (n - width + 1, d).

    Args:
        extreme: np.minimum, np.maximum (NaN where one is missing) or np.logical_and.
        rows: Shape (n, d).
        width: How many.
    """
    reach = 1
    while reach < width:
        # Two windows that meet or overlap make a longer one.
        step = min(reach, width - reach)
        rows = extreme(rows[:-step], rows[step:])
        reach += step
    return rows


def medians_of_five(rows: Floats) -> Floats:
    """Median of each five rows in a row, shape (n - 4, d); NaN where one is missing."""
    low, high = np.minimum(rows[:-1], rows[1:]), np.maximum(rows[:-1], rows[1:])
    # Of two pairs the lowest and the highest are not the median: it is the middle of the other two and the fifth.
    some, other = np.maximum(low[:-3], low[2:-1]), np.minimum(high[:-3], high[2:-1])
    return np.asarray(np.maximum(np.minimum(some, other), np.minimum(np.maximum(some, other), rows[4:])))
