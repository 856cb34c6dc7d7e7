"""What another protection would have done, against one time constant stepped by hand through the same draw."""

import math

import numpy as np
import pytest

from monitor.protection import Asked, Judge
from tests.protection.streams import cut, layout_with, readings

RECORDED_OPENS = (62.8, 300.4)
RESETS_AFTER_S = 20.0
SECONDS, EVERY_S = 520.0, 0.1


def draw(t):
    """Four overloads; the recorded protection opened in the first two, and less was drawn between the others."""
    first, second = (t > 30) & (t < RECORDED_OPENS[0]), (t > 262) & (t < RECORDED_OPENS[1])
    over = first | second | ((t > 420) & (t < 455)) | ((t > 485) & (t < 515))
    amps = np.where(over, 11.0, 4.5)
    return np.where(dead(t), 0.0, amps)


def dead(t):
    return np.any([(t >= at_s) & (t < at_s + RESETS_AFTER_S) for at_s in RECORDED_OPENS], axis=0)


def protection(rated_amps):
    """Points of one time constant of 42 s that holds 1.1 times its rating: 42 ln(m^2 / (m^2 - 1.21))."""
    points = [[m, round(42 * math.log(m**2 / (m**2 - 1.21)), 3)] for m in (1.35, 2.0, 3.0, 6.0)]
    return f"[supply.protection]\nkind = 'thermal'\nrated_amps = {rated_amps}\npoints = {points}\nreset = 'auto'\n"


def by_hand(rated_amps):
    """Openings of that device: it stays open until the recorded overload is over, cooling, and follows the draw again then."""
    hold, heat, is_open, found = 1.1 * rated_amps, min(0.6, (4.5 / (1.1 * rated_amps)) ** 2), False, []
    for step in range(round(SECONDS / 0.01)):
        amps = float(draw(np.array(step * 0.01)))
        heat += ((0.0 if is_open else (amps / hold) ** 2) - heat) * 0.01 / 42
        is_open = is_open and amps > 0.96 * hold
        if heat >= 1 and not is_open:
            found.append(step * 0.01)
            is_open = True
    return found


def whole():
    return readings(SECONDS, draw, lambda t: 0 * t, lambda t: np.where(dead(t), 0.0, 14.0), interval_s=EVERY_S)


def asked(rated_amps, pieces=()):
    judge, warnings = Judge(layout_with(protection(rated_amps)), Asked(would_open=True, forecasts=True)), []
    for part in cut(whole(), pieces):
        warnings += judge.feed(part)
    judge.finish(SECONDS)
    foreseen, overloads = judge.drain()
    last = {each.start_s: each for each in overloads}
    return list(last.values()), foreseen, warnings, judge.loads()[0]


@pytest.mark.parametrize("rated_amps", [4.2, 6.0, 7.0, 9.0, 20.0])
def test_openings_are_those_of_the_device_alone(rated_amps):
    """Where the recorded one opened tells nothing of another."""
    overloads, _, _, _ = asked(rated_amps)
    found = [each.opens_at_s for each in overloads if each.opens_at_s is not None]
    assert found == pytest.approx(by_hand(rated_amps), abs=0.6)


def test_heat_runs_no_further_than_the_opening():
    overloads, foreseen, warnings, load = asked(6.0)
    first = overloads[0]
    assert first.heat == 1.0
    assert load.heat <= 1.0
    # Nothing is forecast between the moment at which it would have opened and the recorded one.
    assert not [each for each in foreseen if first.opens_at_s < each.at_s < RECORDED_OPENS[0]]
    told = [w for w in warnings if w.rule == "trip-forecast" and w.end_s is not None]
    assert told[0].end_s == pytest.approx(first.opens_at_s, abs=0.01)


def test_how_sure_it_is_and_how_hot_it_came():
    small, _, _, _ = asked(4.2)
    assert small[0].share > 0.95
    close, _, _, _ = asked(7.5)
    assert 0.2 < close[0].share < 0.95
    large, _, _, _ = asked(20.0)
    assert all(each.opens_at_s is None and each.share == 0.0 for each in large)
    held = [each for each in large if each.start_s == pytest.approx(RECORDED_OPENS[0], abs=1.0)]
    # (11 / 22)^2 of heat, all but reached: 0.042 + (0.25 - 0.042) (1 - exp(-32.8 / 42)), by hand.
    assert held[0].heat == pytest.approx(0.156, abs=0.01)


def test_recorded_openings_say_that_they_are_recorded():
    _, _, warnings, _ = asked(6.0)
    told = [w for w in warnings if w.rule == "protection-open" and w.end_s is None]
    assert told
    assert all(w.message.startswith("In the recording the protection of North bench opened") for w in told)


def test_cuts_change_nothing():
    for rated_amps in (6.0, 20.0):
        assert asked(rated_amps, range(0, 5200, 33))[:2] == asked(rated_amps)[:2]


def test_without_being_asked_nothing_is_kept():
    judge = Judge(layout_with(protection(6.0)))
    judge.feed(whole())
    assert judge.drain() == ((), ())
