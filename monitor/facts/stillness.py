"""Stillness: amps that waver less than on any lap.

A motor that cannot turn is a resistor; a train that runs shows its wheels and grades, whatever is switched on beside it.
"""

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from monitor.facts import thresholds as t
from monitor.facts.medians import quantiles
from monitor.values.arrays import Floats


def waver_share(laps: Floats, since: Floats) -> float:
    """How much amps waver, from lowest to highest, as a share of what the quietest stretches as long of the laps did.

    Args:
        laps: Shape (n,): amps of the laps before; NaN where they do not count.
        since: Shape (m,): amps behind a climb.

    Returns:
        inf where no whole stretch of the laps counts.
    """
    if len(laps) < len(since) or not len(since):
        return np.inf
    ranges = np.ptp(sliding_window_view(laps, len(since)), axis=1)
    known = ranges[~np.isnan(ranges)]
    quietest = quantiles(known, (t.STILL_QUANTILE,))[0] if len(known) else 0.0
    return float(np.ptp(since)) / quietest if quietest > 0 else np.inf
