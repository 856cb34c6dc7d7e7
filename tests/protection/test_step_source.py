"""Which district's step brought an overload; worked by hand from the draws that are put in."""

import numpy as np
import pytest

from monitor.protection.step_source import _level, find_source
from monitor.protection.ticks import TICK_S
from tests.protection.streams import layout_with

NAMES = ("Outer main", "Inner main")
LOADS = """
[[load]]
name = "Heavy freight engine"
district = "Inner main"
kind = "locomotive"
running_amps = 4.0
"""


def history(inner, seconds=80.0):
    times = np.arange(round(seconds / TICK_S)) * TICK_S
    rng = np.random.default_rng(1)
    return np.stack([3 + 0.2 * np.sin(times), inner(times)], axis=1) + rng.normal(0, 0.02, (len(times), 2))


@pytest.mark.parametrize("noticed_late_s", [0.0, 1.0, 2.4])
def test_a_step_is_found_though_it_is_noticed_late(noticed_late_s):
    rows = history(lambda t: np.where(t >= 70, 5.0, 1.0))
    found = find_source(layout_with(more=LOADS), NAMES, rows, round((10.0 - noticed_late_s) / TICK_S))
    assert (found.district, found.crept, found.loads) == ("Inner main", False, ("Heavy freight engine",))
    assert found.amps == pytest.approx(4.0, abs=0.15)


def test_what_crept_up_is_said_to_have_crept():
    rows = history(lambda t: 1.0 + 0.05 * np.maximum(0, t - 20))
    found = find_source(layout_with(), NAMES, rows, 2)
    assert (found.district, found.crept) == ("Inner main", True)
    assert found.amps == pytest.approx(2.9, abs=0.3)


def test_a_larger_step_long_before_or_after_began_nothing():
    def inner(t):
        return np.where((t > 30) & (t < 50) | (t > 76), 9.0, np.where(t >= 70, 4.0, 1.0))

    found = find_source(layout_with(), NAMES, history(inner), round(10.0 / TICK_S))
    assert (found.district, found.amps) == ("Inner main", pytest.approx(3.0, abs=0.15))


def test_nothing_sticks_out_of_a_steady_draw():
    assert find_source(layout_with(), NAMES, history(lambda t: 1.0 + 0 * t), 10) is None


def test_a_level_is_numpy_s_own_median_of_what_is_known():
    rng = np.random.default_rng(5)
    for count in range(1, 13):
        rows = rng.normal(5, 2, (count, 4))
        rows[rng.random(rows.shape) < 0.3] = np.nan
        rows[0, :3], rows[:, 3] = 1.0, np.nan
        assert _level(rows)[:3] == pytest.approx(np.nanmedian(rows[:, :3], axis=0), rel=1e-15)
        assert np.isnan(_level(rows)[3])
    assert np.isnan(_level(np.zeros((0, 2)))).all()
