"""Hours of a figure in as many points as a screen has, so that no peak is lost."""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from tsdownsample import MinMaxDownsampler

from monitor.values.arrays import Floats

F = TypeVar("F", np.float32, np.float64)


def downsampled(at_s: Floats, values: NDArray[F], points: int) -> tuple[Floats, NDArray[F]]:
    """Lowest and highest of each of points / 2 stretches, in order of time; whatever is missing stays missing.

    Args:
        at_s: Shape (n,), rising.
        values: Shape (n,); NaN where there is no figure.
        points: How many at most, an even number; fewer come back where there are fewer.
    """
    good = np.isfinite(values)
    at_s, values = at_s[good], np.ascontiguousarray(values[good])
    if len(values) <= points:
        return at_s, values
    # Where all values of a stretch are alike its lowest and its highest are one and the same.
    kept = np.unique(MinMaxDownsampler().downsample(values, n_out=points - points % 2))  # type: ignore[no-untyped-call] # no types
    return at_s[kept], values[kept]


def window(at_s: Floats, values: Floats, from_s: float, to_s: float) -> tuple[Floats, Floats]:
    """What lies between two moments: for zooming, before :func:`downsampled`."""
    first, last = np.searchsorted(at_s, [from_s, to_s])
    return at_s[first:last], values[first:last]
