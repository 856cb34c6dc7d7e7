"""Learning a draw from rows whose truth is known."""

import re

import numpy as np
import pytest

from monitor.errors import LayoutError
from monitor.layout import parse_layout
from monitor.planning.learning import OtherLoads, learn_draw, load_to_learn
from tests.layout.fernhollow import FERNHOLLOW

RNG = np.random.default_rng(5)


def rows(*parts):
    """Parts of (seconds, volts, amps) as rows of a fifth of a second, with a hundredth of noise."""
    volts = np.concatenate([np.full(round(s * 5), v, dtype=float) for s, v, _ in parts])
    amps = np.concatenate([np.full(round(s * 5), a, dtype=float) for s, _, a in parts])
    return volts, amps * (1 + 0.01 * RNG.standard_normal(len(amps)))


STAND = (2, 14.0, 0.0)
START = ((0.6, 13.0, 4.2), (1.0, 13.5, 3.0))


def test_running_and_starting_draw_are_told_apart():
    learnt = learn_draw("Express", *rows(STAND, *START, (20, 14.0, 2.4)))
    assert learnt.running_amps == pytest.approx(2.4, rel=0.01)
    assert learnt.starting_amps == pytest.approx(4.2, rel=0.04)
    assert learnt.starts == 1
    assert 2.35 < learnt.low_amps < learnt.running_amps < learnt.high_amps < 2.45


def test_without_a_start_the_running_draw_alone_is_learnt():
    learnt = learn_draw("Express", *rows((20, 14.0, 2.4)))
    assert learnt.starting_amps is None
    assert "No start was seen" in learnt.sentence
    assert set(learnt.keys("2026-11-25")) == {"running_amps", "measured_on", "measured_spread_amps"}


def test_lost_contacts_shorts_stops_and_gaps_decide_nothing():
    volts, amps = rows(
        STAND, *START, (8, 14.0, 2.4), (0.4, 14.2, 0.02), (6, 14.0, 2.4), (0.6, 3.0, 14.0), (6, 14.0, 2.4), (5, 0.0, 0.0), *START,
        (6, 14.0, 2.4),
    )  # fmt: skip
    amps[60:66] = np.nan
    learnt = learn_draw("Express", volts, amps)
    assert learnt.running_amps == pytest.approx(2.4, rel=0.01)
    assert learnt.starting_amps == pytest.approx(4.2, rel=0.04)
    assert learnt.starts == 2


@pytest.mark.parametrize(("volts", "counts"), [(8.4, True), (5.6, False)])
def test_a_start_may_take_two_fifths_of_the_volts_and_a_short_takes_more(volts, counts):
    amps = rows(STAND, *START, (8, 14.0, 2.4), STAND, (0.6, volts, 7.0), (1.0, 13.5, 3.0), (8, 14.0, 2.4))
    assert (learn_draw("Express", *amps).starting_amps > 5.0) == counts


def test_what_else_is_on_is_taken_off():
    learnt = learn_draw(
        "Express", *rows((2, 14.0, 0.5), (0.6, 13.0, 4.7), (1.0, 13.5, 3.5), (20, 14.0, 2.9)), others=OtherLoads(amps=0.5)
    )
    assert learnt.running_amps == pytest.approx(2.4, rel=0.02)
    assert learnt.starting_amps == pytest.approx(4.2, rel=0.04)


def phasor_rows(*parts):
    """Parts of (seconds, complex amps of each load that is on) at 14 V as volts, RMS amps and watts: currents add as phasors (textbook)."""
    seconds = [round(s * 5) for s, _ in parts]
    total = np.concatenate([np.full(n, sum(loads)) for n, (_, loads) in zip(seconds, parts, strict=True)])
    noise = 1 + 0.002 * RNG.standard_normal(len(total))
    return np.full(len(total), 14.0), np.abs(total) * noise, 14.0 * total.real * noise


def lagging(amps, degrees):
    return amps * np.exp(-1j * np.radians(degrees))


@pytest.mark.parametrize("degrees", [0.0, 45.0, 70.0])
@pytest.mark.parametrize("other", [lagging(0.5, 0.0), lagging(0.8, 50.0), lagging(1.5, 0.0)])
def test_what_else_is_on_is_taken_off_as_a_phasor_measured_while_the_load_stood(degrees, other):
    own = lagging(2.39, degrees)
    shown = phasor_rows((2, [other]), (20, [other, own]))
    learnt = learn_draw("Express", *shown, others=OtherLoads(amps=abs(other)))
    assert learnt.running_amps == pytest.approx(2.39, rel=0.01)
    assert "measured while it stood" in learnt.sentence


def test_lamps_are_in_phase_where_the_load_never_stood_and_anything_else_is_bounded():
    own = lagging(2.39, 45.0)
    shown = phasor_rows((20, [0.5, own]))
    lamps = learn_draw("Express", *shown, others=OtherLoads(amps=0.5, are_lamps=True))
    assert lamps.running_amps == pytest.approx(2.39, rel=0.01)
    other = learn_draw("Express", *shown, others=OtherLoads(amps=0.5))
    total = abs(0.5 + own)
    assert other.running_amps == pytest.approx(total - 0.5, rel=0.01)
    most = float(re.search(r"up to (\d\.\d\d) A", other.sentence)[1])
    assert other.running_amps < 2.39 < most
    assert most == pytest.approx((total**2 - 0.25) ** 0.5, rel=0.01)
    without_watts = learn_draw("Express", *shown[:2], others=OtherLoads(amps=0.5, are_lamps=True))
    assert "let it stand for a second" in without_watts.sentence


def test_a_wide_spread_is_said_to_mislead():
    assert "the middle misleads" in learn_draw("Express", *rows(*[(5, 14.0, 2.0), (5, 14.0, 3.2)] * 4)).sentence
    assert "misleads" not in learn_draw("Express", *rows((20, 14.0, 2.4))).sentence


def test_grades_show_as_spread():
    learnt = learn_draw("Express", *rows(*[(5, 14.0, 2.0), (5, 14.0, 3.0)] * 4))
    assert (learnt.low_amps, learnt.high_amps) == (pytest.approx(2.0, rel=0.02), pytest.approx(3.0, rel=0.02))


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ([(10, 0.0, 0.0)], "track alive"),
        ([(10, 14.0, 0.0)], "is it on this district"),
        ([(2, 14.0, 0.0), (3, 14.0, 2.4)], "let it run for"),
    ],
)
def test_too_little_is_said_with_what_to_do(parts, words):
    with pytest.raises(LayoutError, match=words):
        learn_draw("Express", *rows(*parts))


def test_nothing_at_all_is_said():
    with pytest.raises(LayoutError, match="nothing was measured"):
        learn_draw("Express", np.full(50, np.nan), np.full(50, np.nan))


def test_the_load_and_what_else_is_on():
    layout = parse_layout(
        FERNHOLLOW + '[[load]]\nname = "Lit cars"\ndistrict = "Outer main"\nkind = "lighting"\nrunning_amps = 0.6\n'
        '[[load]]\nname = "Lamps"\ndistrict = "Town lights"\nkind = "lighting"\nrunning_amps = 1.0\n'
    )
    load, others = load_to_learn(layout, "Heavy freight engine", ["Lit cars"])
    assert (load.district, others) == ("Outer main", OtherLoads(amps=0.6, are_lamps=True))
    with pytest.raises(LayoutError, match='no load "Ghost"'):
        load_to_learn(layout, "Ghost", [])
    with pytest.raises(LayoutError, match="not another load of district"):
        load_to_learn(layout, "Heavy freight engine", ["Lamps"])
