"""Each rule of a rating: rises, does not rise, clears. Delays as ISA-18.2 suggests them for such alarms; seconds by hand."""

import numpy as np
import pytest

from monitor.layout import parse_layout
from tests.protection.streams import DISTRICTS, HEAD, PLAIN, judged, readings

NONE = "[supply.protection]\nkind = 'none'\n"
SMALL = "[supply.protection]\nkind = 'thermal'\nrated_amps = 6\npoints = [[1.5, 900]]\n"
OUTPUT = DISTRICTS.replace('name = "A"\n', 'name = "A"\nmax_amps = 5\n')
FEEDER = DISTRICTS.replace('use = "track"\n', 'use = "track"\nfeeder = { awg = 18, one_way_m = 5 }\n', 1)
# Rule, protection, districts, volts, amps of one district at its limit (the other draws one), kind and name of the place.
PLACES = [
    ("over-nameplate", NONE, DISTRICTS, 20.0, 8.0, "supply", "North bench"),
    ("over-winding", NONE, DISTRICTS, 14.0, 9.0, "supply", "North bench"),
    ("over-protection-rating", SMALL, DISTRICTS, 14.0, 5.0, "supply", "North bench"),
    ("over-output-limit", NONE, OUTPUT, 14.0, 5.0, "output", "North bench/A"),
    # The small conductor rule: 7 A for 18 AWG (NEC 240.4(D), from memory).
    ("over-feeder-ampacity", NONE, FEEDER, 14.0, 7.0, "district", "Outer main"),
]
AT_S, UNTIL_S = 30.0, 70.0


def warnings_of(place, share, until_s=UNTIL_S):
    """Warnings where a limit is used by a share from AT_S to until_s, and little is drawn else."""
    _, protection, districts, volts, amps, kind, _ = place
    beside = 1.0 if kind == "supply" else 0.0
    draw = share * (amps + beside) - beside
    whole = readings(
        100, lambda t: np.where((t > AT_S) & (t < until_s), draw, 0.5), lambda t: beside + 0 * t, lambda t: volts + 0 * t
    )
    return judged(parse_layout(HEAD + protection + districts), whole)[0]


@pytest.mark.parametrize("place", PLACES, ids=lambda place: place[0])
def test_over_a_rating_for_five_seconds_is_medium_and_clears_three_seconds_after(place):
    (told,) = [w for w in warnings_of(place, 1.06) if w.priority.word == "medium"]
    assert (told.rule, told.scope.kind, told.scope.name) == (place[0], place[5], place[6])
    # The draw is smoothed over a second.
    assert AT_S + 5.0 <= told.start_s < AT_S + 8.5
    assert UNTIL_S + 3.0 <= told.end_s < UNTIL_S + 6.0
    assert told.share == pytest.approx(1.06, abs=0.01)


@pytest.mark.parametrize("place", PLACES, ids=lambda place: place[0])
def test_four_seconds_or_a_hair_below_raise_nothing_medium(place):
    assert [w for w in warnings_of(place, 1.3, until_s=AT_S + 4.0) if w.priority.word == "medium"] == []
    assert [w for w in warnings_of(place, 0.99) if w.priority.word == "medium"] == []


@pytest.mark.parametrize("place", PLACES, ids=lambda place: place[0])
def test_close_to_a_rating_for_twenty_seconds_is_low_and_clears(place):
    (told,) = warnings_of(place, 0.95)
    assert (told.rule, told.priority.word, told.scope.name) == ("near-limit", "low", place[6])
    assert AT_S + 20.0 <= told.start_s < AT_S + 24.0
    assert UNTIL_S + 3.0 <= told.end_s < UNTIL_S + 6.0
    assert "Add nothing there" in told.advice
    assert warnings_of(place, 0.88) == []
    assert warnings_of(place, 0.95, until_s=AT_S + 18.0) == []


def test_a_share_that_wavers_about_the_rating_is_one_warning():
    """A deadband of two percent: 1.03 and 0.99 in turns of two seconds neither clears nor rises again."""
    place = PLACES[1]
    whole = readings(90, lambda t: np.where(t < AT_S, 1.0, np.where(t % 4 < 2, 9.6, 8.9)), volts=lambda t: 14.0 + 0 * t)
    medium = [w for w in judged(parse_layout(HEAD + place[1] + place[2]), whole)[0] if w.priority.word == "medium"]
    assert [w.end_s for w in medium] == [None]


def unguarded(share, protection=NONE, until_s=130.0):
    whole = readings(170, lambda t: np.where((t > AT_S) & (t < until_s), 10.0 * share - 1.0, 0.5))
    return [w for w in judged(parse_layout(HEAD + protection + DISTRICTS), whole)[0] if w.rule == "no-protection"]


def test_far_over_the_rating_for_a_minute_without_protection_is_high_and_clears():
    (told,) = unguarded(1.6)
    assert (told.priority.word, told.scope.name) == ("high", "North bench")
    assert AT_S + 60.0 <= told.start_s < AT_S + 63.0
    assert 130.0 <= told.end_s < 133.0
    assert "nothing is known that would switch it off" in told.message
    assert unguarded(1.45) == []
    wavering = readings(170, lambda t: np.where(t < AT_S, 0.5, np.where(t < 110, 15.0, 13.5)))
    (told,) = [w for w in judged(parse_layout(HEAD + NONE + DISTRICTS), wavering)[0] if w.rule == "no-protection"]
    # 145 % is less than 150 %, but not by the deadband.
    assert told.end_s is None
    assert unguarded(1.6, until_s=AT_S + 55.0) == []
    assert unguarded(1.6, protection=PLAIN, until_s=AT_S + 65.0) == []
    # A draw that creeps up from above the rating, where nothing else is about to be announced.
    creeping = readings(175, lambda t: np.interp(t, [0, 30, 60, 80, 110], [0.5, 0.5, 11.0, 11.0, 15.0]))
    (told,) = [w for w in judged(parse_layout(HEAD + NONE + DISTRICTS), creeping)[0] if w.rule == "no-protection"]
    assert 162.5 <= told.start_s < 166.0
