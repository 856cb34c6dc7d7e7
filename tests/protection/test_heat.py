"""What is learnt of a device from its openings, and what is not known after gaps and starts."""

import math

import numpy as np
import pytest

from monitor.protection.devices import FIRST, QUICKER, devices_of
from monitor.protection.heat import HeatTrack
from monitor.protection.ticks import TICK_S
from tests.protection.streams import layout_with


def track(**options):
    return HeatTrack(devices_of(layout_with().supply[0]), **options)


def run(heat, amps, seconds):
    for _ in range(round(seconds / TICK_S)):
        heat.step(amps)


def spread(heat, amps):
    """Ratio of the slowest to the quickest nine tenths of the devices that may still be it."""
    times = heat.open_in_s(amps)[FIRST:]
    keep = (heat.belief * heat.is_possible)[FIRST:] > 0.1
    low, high = np.quantile(times[keep], (0.05, 0.95))
    return high / low


def test_a_device_that_would_have_opened_is_no_longer_possible():
    heat = track()
    run(heat, 3.0, 60)
    assert heat.is_possible.all()
    run(heat, 15.0, 50)
    left = heat.is_possible[FIRST:]
    assert 0.2 < left.mean() < 0.9
    assert (heat.heats[FIRST:][~left] > 1.0).all()


def test_the_sample_is_set_to_where_it_opened_and_narrows():
    heat = track()
    run(heat, 3.0, 60)
    before = spread(heat, 15.0)
    run(heat, 15.0, 65)
    heat.opened(125.0, by_heat=True)
    assert heat.is_possible.all()
    assert heat.heats[FIRST:] == pytest.approx(1.0)
    # One opening alone leaves many devices likely; those that were far from opening are less so.
    assert 0.5 < (heat.belief[FIRST:] > 0.5).mean() < 1.0
    run(heat, 0.0, 400)
    heat.closed()
    run(heat, 3.0, 900)
    after = spread(heat, 15.0)
    assert after < 0.5 * before
    # 15 A from cold took 65 s then; from the heat of 3 A (0.09 of 1, cold 0.0) it takes about as long again.
    assert np.median(heat.open_in_s(15.0)[FIRST:]) == pytest.approx(65.0, rel=0.12)
    assert heat.likely == pytest.approx(0.09 / heat.scale[0], rel=0.05)


def test_an_opening_by_a_short_teaches_nothing_of_heat():
    heat = track()
    run(heat, 3.0, 60)
    heat.opened(60.0, by_heat=False)
    assert (heat.scale == 1.0).all()
    assert heat.likely == 1.0
    # By the part that feels shorts it is cool, by the one that feels heat it is hot.
    assert heat.heats[FIRST:].min() < 0.2
    assert heat.heats[FIRST:].max() > 0.9


def test_an_opening_of_another_device_teaches_nothing():
    heat = track(is_foreign=True)
    run(heat, 3.0, 60)
    run(heat, 15.0, 20)
    before = heat.heats.copy()
    heat.opened(80.0, by_heat=True)
    assert (heat.heats == before).all()
    assert (heat.scale == 1.0).all()
    run(heat, 15.0, 20)
    heat.closed()
    assert heat.reset_heat == 0.7
    assert heat.is_possible.all()


def test_a_fuse_that_was_replaced_is_another_device_and_cold():
    heat = track(is_replaced=True)
    run(heat, 15.0, 60)
    heat.opened(60.0, by_heat=True)
    run(heat, 0.0, 5)
    heat.closed()
    assert (heat.heats == 0.0).all()
    assert (heat.scale == 1.0).all()
    assert heat.is_possible.all()
    assert (heat.belief[FIRST:] == 1.0).all()


def test_the_heat_of_a_reset_is_learnt():
    heat = track()
    run(heat, 15.0, 60)
    heat.opened(60.0, by_heat=True)
    run(heat, 0.0, 50)
    heat.closed()
    assert heat.reset_heat == pytest.approx(math.exp(-0.5), abs=0.02)


def test_a_gap_is_bridged_and_then_half_the_devices_draw_on():
    heat = track()
    run(heat, 8.0, 400)
    run(heat, math.nan, 4.0)
    assert not heat.is_lost
    assert heat.likely == pytest.approx(0.64, abs=0.01)
    run(heat, math.nan, 200.0)
    assert heat.is_lost
    assert heat.likely == pytest.approx(0.64 * math.exp(-198.8 / 100), abs=0.01)
    assert heat.highest == pytest.approx(0.64, abs=0.02)
    cooled = heat.heats[FIRST:] < 0.3
    assert 0.4 < cooled.mean() < 0.6
    run(heat, 3.0, 1.0)
    assert not heat.is_lost


def test_the_start_is_not_known():
    heat = track()
    heat.step(6.0)
    assert heat.likely == pytest.approx(0.36, abs=0.01)
    assert (heat.lowest, heat.highest) == pytest.approx((0.0, 1.0), abs=0.01)
    assert heat.heats[FIRST:].min() < 0.05
    assert 0.4 < heat.heats[FIRST:].max() <= 0.6


def test_a_quick_one_in_ten_is_waited_for():
    heat = track()
    run(heat, 3.0, 60)
    times = heat.open_in_s(15.0)
    assert heat.quick_in_s(15.0) == pytest.approx(min(times[QUICKER], np.quantile(times[FIRST:], 0.1)), rel=0.03)
    # Just above what a typical one holds, those that hold less decide.
    assert heat.quick_in_s(10.2) == pytest.approx(np.quantile(heat.open_in_s(10.2)[FIRST:], 0.1), rel=0.05)
    assert heat.quick_in_s(10.2) < 0.7 * heat.open_in_s(10.2)[QUICKER]
    heat.is_possible[:] = False
    assert heat.quick_in_s(15.0) == times[QUICKER]


@pytest.mark.parametrize("is_replaced", [True, False])
def test_what_is_reset_is_still_warm_and_a_new_fuse_is_cold(is_replaced):
    heat = track(is_replaced=is_replaced)
    run(heat, 15.0, 60)
    heat.opened(60.0, by_heat=True)
    run(heat, 0.0, 5)
    heat.closed()
    assert (heat.likely == 0.0) is is_replaced
