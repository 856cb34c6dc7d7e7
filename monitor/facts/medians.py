"""Medians of short runs of figures, quicker than the general one for the sizes met here."""

from typing import Literal

import numpy as np

from monitor.values.arrays import Floats


def median(values: Floats) -> float:
    """Median of a few figures, shape (n,); the upper of the middle two where n is even; NaN where one is missing or n is 0."""
    if not len(values):
        return float("nan")
    ordered = np.sort(values)
    # NaN sorts last.
    return float("nan") if ordered[-1] != ordered[-1] else float(ordered[len(ordered) // 2])


def medians(values: Floats, axis: Literal[0, 1]) -> Floats:
    """The same along an axis that is not empty."""
    ordered = np.sort(values, axis=axis).swapaxes(axis, 0)
    return np.where(np.isnan(ordered[-1]), np.nan, ordered[len(ordered) // 2])


def middles(values: Floats) -> Floats:
    """Medians along the first axis, which is not empty; the mean of the middle two where their number is even."""
    ordered = np.sort(values, axis=0)
    middle = (ordered[(len(ordered) - 1) // 2] + ordered[len(ordered) // 2]) / 2
    return np.where(np.isnan(ordered[-1]), np.nan, middle)


def quantiles(values: Floats, shares: tuple[float, ...]) -> list[float]:
    """Quantiles of some figures, shape (n,), n at least 1, straight between the two nearest; NaN where one is missing."""
    ordered = np.sort(values)
    if ordered[-1] != ordered[-1]:
        return [float("nan")] * len(shares)
    places = [share * (len(ordered) - 1) for share in shares]
    return [_between(ordered, int(place), place - int(place)) for place in places]


def lowest_tenth(values: Floats) -> float:
    """The quantile of a tenth of the figures that are there, shape (n,); NaN where there is none."""
    there = values[~np.isnan(values)]
    return quantiles(there, (0.1,))[0] if len(there) else float("nan")


def _between(ordered: Floats, place: int, way: float) -> float:
    lower, upper = float(ordered[place]), float(ordered[min(place + 1, len(ordered) - 1)])
    # From the nearer end, that the rounding never leads past either.
    return lower + (upper - lower) * way if way < 0.5 else upper - (upper - lower) * (1 - way)
