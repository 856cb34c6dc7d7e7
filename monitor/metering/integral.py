"""Means over windows whose edges fall between samples."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class RunningIntegral:
    """The running trapezoid integral of columns of samples, to be read off at any place.

    Between samples the integrand is taken as a straight line, so the integral there is a parabola.

    Args:
        values: Shape (n, d): samples, one unit of place apart; sample k sits at place k.
    """

    def __init__(self, values: NDArray[np.float64]) -> None:
        self._values = values
        steps = (values[1:] + values[:-1]) / 2
        self._sums = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(steps, axis=0)])

    def upto(self, places: Floats) -> Floats:
        """Integral from place 0 to each place; shape (m, d). Places beyond the last sample hold its value."""
        last = len(self._values) - 1
        index = np.clip(np.floor(places).astype(int), 0, last)
        share = (places - index)[:, None]
        here = self._values[index]
        slope = self._values[np.minimum(index + 1, last)] - here
        return np.asarray(self._sums[index] + share * here + share**2 / 2 * slope)

    def means(self, places: Floats, width: float) -> Floats:
        """Mean over the window of the given width that begins at each place; shape (m, d)."""
        return (self.upto(places + width) - self.upto(places)) / width
