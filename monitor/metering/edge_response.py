"""What a steep edge looks like to the converter: a ramp of some width behind the channel's one-pole low-pass.

A ramp of width w behind a time constant tau answers, t after its beginning (textbook, by convolution of a box and an exponential)::

    G(t) = (t - tau (1 - exp(-t / tau))) / w                   while t < w
    G(t) = 1 - (tau / w) (exp(w / tau) - 1) exp(-t / tau)       from then on

Times here count from tau after the middle of the ramp, in scans: the filter brings the mains sine later by tau, too, so this is where
the edge stands against what the samples show of it.
"""

import numpy as np
from numpy.typing import NDArray

from monitor.metering import thresholds as th
from monitor.values.arrays import Floats

Ints = NDArray[np.intp]


class EdgeResponse:
    """Tables of the answer for a number of widths.

    Attributes:
        after: Shape (widths, FRACTIONS + 1): time from the edge at which each fraction is reached, scans; clipped to 1 ... 99 %.
        seen: Shape (widths,): mean of f (1 - f) over places a scan apart, of the fractions on the way; rises with the width.
        square_lag: Shape (widths,): so much later than the edge's middle a step must lie to hold the same square, scans.
    """

    def __init__(self, tau_scans: float, interval_s: float) -> None:
        widths = np.concatenate([np.zeros(th.FILTER_QUARTERS), np.linspace(0.0, th.WIDEST_S / interval_s, th.STEPS + 1)])
        taus = tau_scans * np.concatenate([np.arange(th.FILTER_QUARTERS) / th.FILTER_QUARTERS, np.ones(th.STEPS + 1)])
        tables = [self._table(width, tau) for width, tau in zip(widths, taus, strict=True)]
        self.after: Floats = np.stack([after for after, _ in tables])
        self.seen: Floats = np.maximum.accumulate([seen for _, seen in tables]) + 1e-9 * np.arange(len(tables))
        # A ramp's square is a third of its height over the width, a step's in its middle a half.
        self.square_lag: Floats = widths / 6

    @staticmethod
    def _table(width: float, tau: float) -> tuple[Floats, float]:
        tau, width = max(tau, 1e-4), max(width, 1e-4)
        times = np.linspace(0.0, width + 6 * tau, 4000)
        rising = (times - tau * (1 - np.exp(-times / tau))) / width
        settling = 1 - (tau / width) * (-np.expm1(-width / tau)) * np.exp(np.minimum(0.0, (width - times) / tau))
        answer = np.where(times < width, rising, settling)
        wanted = np.clip(np.arange(th.FRACTIONS + 1) / th.FRACTIONS, 0.01, 0.99)
        partly = np.where((answer > th.PARTLY[0]) & (answer < th.PARTLY[1]), answer * (1 - answer), 0.0)
        return np.interp(wanted, answer, times) - width / 2 - tau, float(np.trapezoid(partly, times))

    def level(self, seen: Floats) -> Ints:
        """Which width explains a mean of f (1 - f), any shape."""
        middles = (self.seen[1:] + self.seen[:-1]) / 2
        return np.searchsorted(middles, seen).astype(np.intp)

    def reached_after(self, level: Ints, fractions: Floats) -> Floats:
        """When edges of some widths reach some fractions, scans from their places."""
        places = fractions * th.FRACTIONS
        below = np.minimum(places.astype(np.intp), th.FRACTIONS - 1)
        here = self.after[level, below]
        return np.asarray(here + (places - below) * (self.after[level, below + 1] - here))
