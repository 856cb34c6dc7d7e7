"""Medians of short runs of figures, quicker than the general one for the sizes met here."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def median(values: Floats) -> float:
    """Median of a few figures, shape (n,); the upper of the middle two where n is even; NaN where one is missing or n is 0."""
    if not len(values):
        return float("nan")
    ordered = np.sort(values)
    # NaN sorts last.
    return float("nan") if ordered[-1] != ordered[-1] else float(ordered[len(ordered) // 2])


def medians(values: Floats, axis: int) -> Floats:
    """The same along an axis that is not empty."""
    ordered = np.sort(values, axis=axis)
    middle = ordered.take(ordered.shape[axis] // 2, axis=axis)
    last = ordered.take(-1, axis=axis)
    return np.where(np.isnan(last), np.nan, middle)


def middles(values: Floats, axis: int) -> Floats:
    """Medians along an axis that is not empty; the mean of the middle two where their number is even."""
    ordered = np.sort(values, axis=axis)
    count = ordered.shape[axis]
    middle = (ordered.take((count - 1) // 2, axis=axis) + ordered.take(count // 2, axis=axis)) / 2
    return np.where(np.isnan(ordered.take(-1, axis=axis)), np.nan, middle)
