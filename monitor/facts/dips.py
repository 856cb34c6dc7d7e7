"""Dips: the shape of amps that fall and come back."""

import numpy as np

from monitor.facts import thresholds as t
from monitor.facts.medians import median
from monitor.facts.rows import Cut
from monitor.values.arrays import Floats


def level_beside(cut: Cut, middle: float) -> float:
    """The lower of the levels just before and just after the readings below the middle."""
    low = np.flatnonzero(cut.amps < middle)
    before, after = cut.amps[max(0, low[0] - 10) : max(1, low[0] - 1)], cut.amps[low[-1] + 2 : low[-1] + 11]
    return min(median(before), median(after)) if len(before) and len(after) else middle


def highest_beside(cut: Cut, middle: float) -> float:
    """The lower of the highest levels shortly before and after the readings below the middle: a hill before is no part of it."""
    beside = _beside(cut, middle)
    if beside is None:
        return middle
    before, after = beside
    return float(min(np.max(before, initial=middle), np.max(after, initial=middle)))


def overshoots(cut: Cut, middle: float, depth: float) -> bool:
    """A motor that slowed behind a joint draws more than before when the joint is past; one that ran downhill does not."""
    beside = _beside(cut, middle)
    if beside is None:
        return False
    before, after = beside
    high, surge = float(np.max(before, initial=0.0)), float(np.max(after, initial=0.0))
    return high + t.DIP_OVERSHOOT_SHARE * depth < surge < t.DIP_STARTING_RATIO * high


def lost_s(cut: Cut, gone: "np.ndarray[tuple[int], np.dtype[np.bool_]]", level: float) -> float:
    """How long the amps were gone, from the squares that are missing; never shorter than one window.

    Windows overlap by half, so the missing squares add up to depth times time however the loss lies in them. Of a loss that
    fills a window the deepest reading shows the whole depth; a shorter one shows as much shallower as it is shorter.
    """
    run = _longest_run(gone)
    missing = np.clip(level**2 - cut.amps[max(0, run.start - 1) : run.stop + 1] ** 2, 0.0, None)
    return float(missing.sum() / max(float(np.max(missing, initial=0.0)), 1e-12)) * median(np.diff(cut.end_s))


def _longest_run(gone: "np.ndarray[tuple[int], np.dtype[np.bool_]]") -> slice:
    """Where the longest run is, single readings between bridged: a bouncing contact is one loss."""
    bridged = gone.copy()
    bridged[1:-1] |= gone[:-2] & gone[2:]
    edges = np.flatnonzero(np.diff(np.concatenate([[False], bridged, [False]]).astype(np.int8)))
    if not len(edges):
        return slice(0, 0)
    longest = int(np.argmax(edges[1::2] - edges[::2]))
    return slice(int(edges[2 * longest]), int(edges[2 * longest + 1]))


def noise(values: Floats) -> float:
    """From the lowest tenth to the highest."""
    ordered = np.sort(values)
    return float(ordered[int(0.9 * (len(ordered) - 1))] - ordered[int(0.1 * (len(ordered) - 1))])


def wavering_share(cut: Cut, usual: float, depth: float) -> float:
    """How far the amps waver while they are down, as a share of the depth."""
    inner = _bottom(cut, usual, depth)
    return noise(inner) / depth if len(inner) > 5 else 0.0


def climbs(cut: Cut, usual: float, depth: float) -> bool:
    """Whether the amps climb steadily while they are down: a motor that slows behind a joint takes more, what is left of none does not."""
    inner = _bottom(cut, usual, depth)
    third = len(inner) // 3
    if third < t.DIP_CLIMB_ROWS:
        return False
    climb = median(inner[-third:]) - median(inner[:third])
    return t.DIP_CLIMB_SHARE * depth < climb < t.DIP_CLIMB_MOST_SHARE * depth and climb > t.DIP_CLIMB_NOISES * noise(inner)


def _bottom(cut: Cut, usual: float, depth: float) -> Floats:
    return cut.amps[np.flatnonzero(cut.amps < usual - 0.5 * depth)[2:-2]]


def reversed_in_time(cut: Cut) -> Cut:
    """The same backwards in time."""
    return cut._replace(end_s=-cut.end_s[::-1], amps=cut.amps[::-1])


def edge_s(cut: Cut, usual: float, depth: float) -> float:
    """How long the fall took, from a fifth to four fifths of the depth."""
    deep = np.flatnonzero(cut.amps < usual - 0.8 * depth)
    if not len(deep):
        return 0.0
    shallow = np.flatnonzero(cut.amps[: deep[0]] > usual - 0.2 * depth)
    begin = cut.end_s[shallow[-1]] if len(shallow) else cut.end_s[0]
    return float(cut.end_s[deep[0]] - begin) / 0.6


def _beside(cut: Cut, middle: float) -> tuple[Floats, Floats] | None:
    """Amps shortly before and shortly after the readings below the middle; None where none is below it."""
    low = np.flatnonzero(cut.amps < middle)
    if not len(low):
        return None
    first_s, last_s = cut.end_s[low[0]], cut.end_s[low[-1]]
    before = cut.amps[(cut.end_s < first_s) & (cut.end_s > first_s - t.DIP_BESIDE_S)]
    return before, cut.amps[(cut.end_s > last_s) & (cut.end_s < last_s + t.DIP_BESIDE_S)]
