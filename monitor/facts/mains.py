"""The mains: what falls with them falls on every supply, within the same cycle, and by more than it ever wavers."""

import numpy as np
from numpy.typing import NDArray

from monitor.facts import thresholds as t
from monitor.facts.dips import noise
from monitor.facts.facts import Facts
from monitor.facts.medians import median
from monitor.values.arrays import Floats


def fell_everywhere(stream: Facts, tick: int, volts: Floats) -> bool:
    """Whether the volts of every live district fell at once, those of two supplies at least among them.

    Args:
        stream: Known at least two ticks beyond.
        tick: In which one of them fell.
        volts: What they were, shape (d,).
    """
    live = volts > stream.circuits.off_volts
    if len(np.unique(stream.circuits.supply_of[live])) < 2:
        return False
    districts = np.flatnonzero(live).tolist()
    return _at_once(stream, districts, (tick - 1, tick + 2), (1 - t.SAG_ALONG_DEPTH) * volts, 0) and all(
        _stands_out(stream, district, tick, float(volts[district])) for district in districts
    )


def rose_together(stream: Facts, tick: int, volts: Floats, among: NDArray[np.bool_]) -> bool:
    """Whether those among some districts, shape (d,), that were live came back at once, about a tick known at least two beyond."""
    live = np.flatnonzero((volts > stream.circuits.off_volts) & among).tolist()
    return _at_once(stream, live, (tick - 3, tick + 2), t.SAG_BACK_SHARE * volts, -1)


def _at_once(stream: Facts, districts: list[int], ticks: tuple[int, int], volts: Floats, which: int) -> bool:
    """Whether the first (0) or last (-1) readings below some volts, shape (d,), lie within two cycles, or within one line."""
    moments_s, apart_s = [], t.MAINS_AT_ONCE_S
    for district in districts:
        cut = stream.cut(district, *ticks)
        low_s = cut.end_s[cut.volts < volts[district]]
        if not len(low_s):
            return False
        moments_s.append(float(low_s[which]))
        apart_s = max(apart_s, t.MAINS_LINES * median(np.diff(cut.end_s)))
    return max(moments_s) - min(moments_s) < apart_s


def _stands_out(stream: Facts, district: int, tick: int, volts: float) -> bool:
    """A converter that beats with the scans wavers from cycle to cycle by as much as a dip."""
    past = stream.cut(district, tick - t.SAG_RECENT_TICKS, tick - 2).volts
    low = float(np.min(stream.cut(district, tick - 1, tick + 2).volts, initial=volts))
    return not len(past) or volts - low > t.MAINS_WAVERED * noise(past)
