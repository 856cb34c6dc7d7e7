"""Edges in readings: how sharp a change is, and when it happened."""

import numpy as np

from monitor.facts import thresholds as t
from monitor.facts.medians import median, medians
from monitor.facts.rows import Cut
from monitor.values.arrays import Floats


def sharpest_share(times_s: Floats, values: Floats, change: float) -> float:
    """The largest part of ``change`` that happened within one window; of coarse readings, from one to the next.

    Args:
        times_s: Ends of the windows, shape (n,).
        values: Readings, shape (n,); windows overlap by half.
        change: The whole change, with its sign.
    """
    lag = 2 if _are_fine(times_s) else 1
    if len(values) <= lag or change == 0:
        return 0.0
    apart_s = times_s[lag:] - times_s[:-lag]
    steps = (values[lag:] - values[:-lag]) / change
    near = apart_s < 1.5 * float(np.min(apart_s))
    # A line board may leave a reading out.
    return float(np.fmax.reduce(steps[near], initial=0.0))


def crossing_s(cut: Cut, inside: "np.ndarray[tuple[int], np.dtype[np.bool_]]") -> tuple[float, float] | None:
    """First and last moment at which ``inside`` holds, as the middle of the windows: half the energy is half the window."""
    hits = np.flatnonzero(inside)
    if not len(hits):
        return None
    middle_s = (cut.start_s[hits[[0, -1]]] + cut.end_s[hits[[0, -1]]]) / 2
    return float(middle_s[0]), float(middle_s[1])


def steady(values: Floats) -> Floats:
    """Running median of seven, edges kept: steps stay, what lasts a cycle or two goes. Shape (n,)."""
    if len(values) < 7:
        return values
    return medians(np.lib.stride_tricks.sliding_window_view(np.pad(values, 3, mode="edge"), 7), 1)


def is_fine(cut: Cut) -> bool:
    """Whether the readings are fine enough to tell a sharp edge from a gradual one (a line board's are not)."""
    return _are_fine(cut.end_s)


def _are_fine(times_s: Floats) -> bool:
    return len(times_s) > 2 and median(np.diff(times_s)) < t.EDGE_FINE_S
