"""How a draw may go on, from draws whose laps and slopes are known."""

import numpy as np
import pytest

from monitor.protection.coming import lap_ticks, ways
from monitor.protection.ticks import TICK_S

TIMES = np.arange(0, 150, TICK_S)
NOISE = np.random.default_rng(3).normal(0, 0.05, len(TIMES))


def squares(amps):
    return (amps + NOISE[: len(amps)]) ** 2


@pytest.mark.parametrize("lap_s", [8.0, 17.0, 31.0])
def test_a_lap_is_found_and_continued(lap_s):
    amps = np.where(TIMES % lap_s < 0.4 * lap_s, 14.0, 6.0)
    assert lap_ticks(squares(amps)) * TICK_S == pytest.approx(lap_s, abs=0.2)
    first, second = ways(squares(amps), 6.0, 0.0)
    coming = np.where((TIMES[-1] + TICK_S * np.arange(1, len(first.lap) + 1)) % lap_s < 0.4 * lap_s, 14.0, 6.0)
    assert np.mean(np.abs(first.lap - coming) < 1.0) > 0.9
    assert len(second.lap) == 1
    assert first.share > second.share


def test_a_lap_is_known_once_it_was_driven_twice():
    amps = squares(np.where(TIMES % 20 < 8, 14.0, 6.0))
    assert lap_ticks(amps[: round(42 / TICK_S)]) * TICK_S == pytest.approx(20.0, abs=0.2)
    assert lap_ticks(amps[: round(34 / TICK_S)]) is None
    assert ways(amps[: round(34 / TICK_S)], 6.0, 0.0)[0].lap.tolist() == [6.0]


def test_what_rises_bit_by_bit_is_no_lap():
    assert lap_ticks(squares(5 + 0.06 * TIMES)) is None
    assert lap_ticks(squares(np.where(TIMES < 60, 5 + 0.1 * TIMES, 11.0))) is None
    assert lap_ticks(squares(8 + 0 * TIMES)) is None


def test_a_second_grade_is_known_from_the_first():
    """Up for 8 s, down for 17 s, up again for 3 s: it goes down again after 5 s."""
    times = np.arange(0, 68, TICK_S)
    amps = np.where((times > 40) & (times < 48) | (times > 65), 15.0, 6.0)
    found = ways(squares(amps), 15.0, 3.0)
    again = next(way for way in found if len(way.lap) > 1)
    assert len(again.lap) * TICK_S == pytest.approx(25.0, abs=0.3)
    assert (again.lap[:22] > 14).all()
    assert (again.lap[30:100] < 7).all()


def test_a_first_rise_may_be_a_grade_until_it_has_lasted():
    def found(over_s):
        times = np.arange(0, 60 + over_s, TICK_S)
        return ways(squares(np.where(times > 60, 15.0, 6.0)), 15.0, over_s)

    steady, grade = found(6.0)
    assert grade.rise == pytest.approx(15.0)
    assert len(grade.rise) * TICK_S == pytest.approx(6.0)
    assert grade.lap.min() == pytest.approx(6.0, abs=0.2)
    assert grade.lap.max() == 15.0
    # As long again, then down for three such times and up for two, over and over.
    assert [len(part) * TICK_S for part in (grade.lap, grade.lap[grade.lap < 10], grade.lap[:90][grade.lap[:90] < 10])] == (
        pytest.approx([30.0, 18.0, 18.0])
    )
    assert steady.share > grade.share > found(15.0)[1].share
    (only,) = found(31.0)
    assert (only.share, only.lap.tolist()) == (1.0, [15.0])


def test_a_ramp_may_stop_or_go_on():
    amps = 6 + 0.1 * TIMES[:400]
    found = ways(squares(amps), 14.0, 20.0)
    assert sum(way.share for way in found) == pytest.approx(1.0)
    assert found[0].lap.tolist() == [14.0]
    assert [round(len(way.rise) * TICK_S) for way in found] == [0, 10, 30, 60]
    assert found[-1].lap[0] == pytest.approx(14.0 + 0.1 * 60, rel=0.05)
    falling = ways(squares(amps[::-1]), 14.0, 40.0)
    assert [len(way.rise) for way in falling] == [0]
