"""Source: textbook phasor arithmetic, done here with complex numbers: a meter between two hot posts shows |V1 - V2 exp(i phi)|."""

import cmath
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import LayoutError
from monitor.planning.phasing_guide import PhaseReading, judge_readings


def verdict_of(*rounds, highest=18.0):
    readings = [PhaseReading(own_volts=own, other_volts=other, between_volts=between) for own, other, between in rounds]
    return judge_readings(readings, highest_volts=highest).verdict


def shown(own, other, degrees):
    return abs(own - other * cmath.exp(1j * math.radians(degrees)))


@given(
    st.floats(2.5, 18), st.floats(2.5, 18), st.sampled_from([0, 180]),
    st.tuples(*[st.floats(-1, 1)] * 3),
)  # fmt: skip
def test_supplies_in_phase_and_in_anti_phase_through_the_meters_scatter(own, other, degrees, scatter):
    exact = (own, other, shown(own, other, degrees))
    read = [max(0.0, volts + part * (0.02 * volts + 0.2)) for volts, part in zip(exact, scatter, strict=True)]
    allowed = {"in-phase"} if degrees == 0 else {"anti-phase"}
    # Equal settings show next to nothing in phase, as an open joint does: there no verdict is right.
    assert verdict_of(read) in allowed | ({"no-verdict"} if abs(own - other) < 2.5 or min(own, other) < 3 else set())


@given(st.floats(6, 18), st.floats(6, 18), st.sampled_from([60, 90, 120]))
def test_supplies_on_other_phases_get_no_verdict_or_none_that_is_wrong(own, other, degrees):
    assert verdict_of((own, other, shown(own, other, degrees))) == "no-verdict"


@pytest.mark.parametrize(
    ("rounds", "verdict"),
    [
        ([(10, 2, 0)], "no-verdict"),
        ([(5.4, 4.8, 0)], "no-verdict"),
        ([(18, 18, 0.4)], "no-verdict"),
        ([(5, 5, 100)], "stop"),
        ([(5, 60, 55)], "stop"),
        ([(10, 0, 10)], "no-verdict"),
        ([(10, 1.4, 8.6)], "no-verdict"),
        ([(10, 4, 10)], "no-verdict"),
        ([(18, 14, 4)], "in-phase"),
        ([(18, 14, 32)], "anti-phase"),
        ([(18, 18, 36)], "anti-phase"),
        ([(8, 4, 4), (8, 6, 2)], "in-phase"),
        ([(8, 4, 12), (8, 6, 14)], "anti-phase"),
        ([(8, 4, 4), (8, 6, 4)], "no-verdict"),
        ([(8, 4, 4), (8, 6, 14)], "no-verdict"),
        ([(8, 4, 4), (8, 6, 90)], "stop"),
    ],
)
def test_readings(rounds, verdict):
    assert verdict_of(*rounds) == verdict


@pytest.mark.parametrize("volts", [-1, float("nan"), float("inf")])
def test_what_is_no_figure_is_refused(volts):
    with pytest.raises(LayoutError):
        verdict_of((volts, 5, 5))
