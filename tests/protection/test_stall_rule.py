"""The stall rule. Stalled motors draw 1.7 to 2.4 times their running amps, flat (common practice, no published source)."""

import numpy as np
import pytest

from monitor.layout import parse_layout
from tests.protection.streams import DISTRICTS, HEAD, judged, readings

NONE = "[supply.protection]\nkind = 'none'\n"
AT_S, UNTIL_S = 60.0, 80.0


def stalls(amps, volts=lambda t: 14.0 + 0 * t, seconds=100):
    """Warnings of the rule where one district draws these amps and the other one ampere."""
    whole = readings(seconds, amps, lambda t: 1.0 + 0 * t, volts)
    return [w for w in judged(parse_layout(HEAD + NONE + DISTRICTS), whole)[0] if w.rule == "stalled"]


def laps(t):
    """A train of 2 A whose laps of 15 s rise to 2.6 A on a hill."""
    return 2.0 + 0.6 * np.clip(np.sin(2 * np.pi * t / 15), 0, None) + 0.05 * np.sin(2 * np.pi * t * 1.3)


def blocked(t, to_amps=4.2):
    return np.where((t > AT_S) & (t < UNTIL_S), to_amps, laps(t))


def test_far_above_its_laps_and_flat_asks_to_look_within_six_seconds_and_clears():
    (told,) = stalls(blocked)
    assert (told.priority.word, told.scope.name) == ("low", "Outer main")
    assert AT_S + 3.0 < told.start_s < AT_S + 6.0
    assert UNTIL_S <= told.end_s < UNTIL_S + 5.0
    assert "is stalled, or something was switched on" in told.message
    assert "turn its throttle down now" in told.advice


@pytest.mark.parametrize("in_s", [0.1, 0.7, 1.0])
def test_a_train_that_takes_a_second_to_stop_is_stalled_too(in_s):
    assert stalls(
        lambda t: np.where(
            t < UNTIL_S, np.maximum(laps(np.minimum(t, AT_S)), np.interp(t, [AT_S, AT_S + in_s], [0, 3.7])), laps(t)
        )
    )


@pytest.mark.parametrize(
    ("amps", "volts"),
    [
        pytest.param(laps, None, id="a hill of every lap"),
        pytest.param(lambda t: blocked(t, 3.0), None, id="little above the hill"),
        pytest.param(lambda t: blocked(t) * (1 + 0.06 * np.sin(2 * np.pi * t / 1.7)), None, id="a train that wavers runs"),
        pytest.param(lambda t: laps(t) + 2.2 * (t > AT_S), None, id="a load switched on beside a train that runs"),
        pytest.param(lambda t: np.where((t > AT_S) & (t < AT_S + 3), 4.2, laps(t)), None, id="over in three seconds"),
        pytest.param(lambda t: np.where(t < 20, laps(t), 4.2), None, id="before most of a lap was seen"),
        pytest.param(blocked, lambda t: np.where(t > AT_S - 0.4, 16.0, 14.0), id="a throttle turned up"),
    ],
)
def test_what_has_another_reason_raises_nothing(amps, volts):
    assert stalls(amps, volts or (lambda t: 14.0 + 0 * t)) == []


def test_it_stands_while_the_stall_does_and_each_later_one_is_told_too():
    """Stalls of 20 s, 100 s and 15 s: a stall teaches nothing of what laps draw."""
    stalls_s = ((40, 60), (100, 200), (230, 245))

    def amps(t):
        stands = np.any([(t > a) & (t < b) for a, b in stalls_s], axis=0)
        return np.where(stands, 4.2, laps(t))

    told = stalls(amps, seconds=260)
    assert [w.start_s for w in told] == pytest.approx([a + 4.5 for a, _ in stalls_s], abs=1.5)
    assert [w.end_s for w in told] == pytest.approx([b + 2.5 for _, b in stalls_s], abs=2.5)


def test_a_train_that_moves_again_though_it_labours_ends_it():
    (told,) = stalls(lambda t: np.where(t < AT_S, laps(t), np.where(t < UNTIL_S, 4.2, 1.6 + laps(t))), seconds=110)
    assert UNTIL_S + 8 < told.end_s < UNTIL_S + 16


def test_an_opening_ends_it_at_once():
    """Opens at 70 s: the warning stood, and a dead district draws nothing "steady"."""
    opens_s = 70.0
    guard = "[supply.protection]\nkind = 'thermal'\nrated_amps = 4\n"
    whole = readings(
        80,
        lambda t: np.where(t < opens_s, blocked(t, 5.6), 0.0),
        lambda t: np.where(t < opens_s, 1.0, 0.0),
        lambda t: np.where(t < opens_s, 14.0, 0.0),
    )
    told = judged(parse_layout(HEAD + guard + DISTRICTS), whole)[0]
    (opened,) = (w for w in told if w.rule == "protection-open")
    (stalled,) = (w for w in told if w.rule == "stalled")
    assert stalled.start_s < opens_s <= stalled.end_s <= opened.start_s + 0.2
