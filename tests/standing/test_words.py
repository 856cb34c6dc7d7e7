"""The words of a moment; spans as a person says them, bounds of heat only where they are wide."""

from dataclasses import replace

import pytest

from monitor.standing import assess
from monitor.standing.states import Countdown
from monitor.standing.words import countdown_words, heat_words, notice_now, past_words
from monitor.values import Priority
from tests.standing.moments import LAYOUT, NOW_S, SOUTH, load_of, now_of, picture_of, standing, warning_of


@pytest.mark.parametrize(
    ("bounds", "said"),
    [
        ((0.25, 0.34), ""),
        ((0.24, 0.36), " (between 24 % and 36 %)"),
        ((None, 0.36), ""),
        ((0.24, None), ""),
    ],
)
def test_bounds_of_heat_stand_beside_it_where_they_are_wide(bounds, said):
    load = load_of(heat=0.3, heat_lowest=bounds[0], heat_highest=bounds[1])
    supply = assess(LAYOUT, picture_of(loads=(load, SOUTH))).supplies[0]
    assert heat_words(supply, NOW_S) == f"Protection at 30 % of the heat that opens it{said}"


@pytest.mark.parametrize(
    ("in_s", "is_bounded", "is_late", "said"),
    [
        (0.9, True, False, "at any moment"),
        (1.2, True, False, "in about 1 s (1 s to 2 s)"),
        (0.5, True, True, "in about 1 s (1 s to 1 s, later than typical: this one is slow)"),  # what is late may be later still
        (30.0, False, False, "in about 30 s"),
        (-3.0, False, False, "at any moment"),
    ],
)
def test_an_opening_within_a_second_is_said_to_come_at_any_moment(in_s, is_bounded, is_late, said):
    at_s = NOW_S + in_s
    countdown = Countdown(
        opens_at_s=at_s, earliest_at_s=NOW_S + in_s / 2, latest_at_s=NOW_S + 2 * in_s, is_bounded=is_bounded, is_late=is_late
    )
    assert countdown_words(countdown, NOW_S) == said


OVER_A = {"rule": "over-output-limit", "priority": Priority.MEDIUM, "kind": "output", "name": "North bench/A"}
HEAVY = load_of(share=1.3, forecast_s=30.5, heat=None)


@pytest.mark.parametrize(
    ("load", "now", "said", "advice"),
    [
        (HEAVY, now_of(), "was overloaded a moment ago: now 33 % of output North bench/A at 6.0 A", "Add nothing there."),
        (
            replace(HEAVY, districts=(replace(HEAVY.districts[0], amps=7.2), HEAVY.districts[1])), now_of(amps=7.2),
            "is overloaded: 120 % of output North bench/A at 6.0 A; its protection opens in about 30 s (15 s to 60 s)", "Within a few",
        ),
        (HEAVY, now_of(volts=0.1, amps=0.0), "carries 12.0 A, 200 % of output North bench/A at 6.0 A: 6.0 A (84 VA) too much; its", "Within"),
        (replace(HEAVY, forecast=None, districts=()), now_of(),
            "carries 12.0 A, 200 % of output North bench/A at 6.0 A: 6.0 A (84 VA) too much", "Within"),
        (load_of(share=0.0, is_open=True), now_of(volts=0.1, amps=0.0), "was overloaded; there is no power now", "Turn the throttles"),
    ],
)  # fmt: skip
def test_the_warning_of_an_output_says_what_its_output_draws_now_and_counts_down_as_its_supply_does(load, now, said, advice):
    """Else two figures, or two times of one opening, would stand side by side; without a forecast it says nothing of one."""
    other = now_of("Quarry branch", volts=0.1, amps=0.0) if load.is_open else now_of("Quarry branch")
    stands = assess(LAYOUT, picture_of(now, other, loads=(load, SOUTH), warnings=(standing(**OVER_A),)))
    sentence, do = notice_now(stands.notices[0], stands, NOW_S)
    assert sentence.startswith(f"North bench/A {said}")
    assert do.startswith(advice)


@pytest.mark.parametrize(
    ("rule", "name", "said"),
    [
        ("trip-forecast", "North bench", "North bench was overloaded at its last figures"),
        ("near-limit", "North bench", "North bench was near its limit at its last figures"),
        ("short", "Outer main", "Short circuit on Outer main at its last figures"),
    ],
)
def test_a_warning_that_says_nothing_of_now_speaks_of_the_last_figures(rule, name, said):
    old = tuple(now_of(row.name, age_s=40.0) for row in LAYOUT.district)
    warning = standing(rule, Priority.HIGH, "district" if rule == "short" else "supply", name)
    stands = assess(LAYOUT, picture_of(*old, warnings=(warning,)))
    assert notice_now(stands.notices[0], stands, NOW_S)[0] == said


@pytest.mark.parametrize("rule", ["trip-forecast", "over-winding", "protection-open"])
def test_a_line_of_what_is_over_counts_down_to_nothing(rule):
    past = warning_of(rule)
    assert past.time_words in past.message
    assert "in about" not in past_words(past.message, past.time_words)
    assert past_words("A train stood. It moves again.", "") == "A train stood"


@pytest.mark.parametrize(
    ("load", "said"),
    [
        (load_of(share=0.7), "3.0 A (42 VA) left: 2 more 1 A engines fit on Outer main"),
        (load_of(share=0.7, left=0.0), ""),
        (load_of(share=0.93), ""),
        (load_of(share=0.7, at_s=NOW_S - 5.0), ""),
    ],
)
def test_what_still_fits_is_said_where_all_is_well(load, said):
    assert assess(LAYOUT, picture_of(loads=(load, SOUTH))).districts[0].room == said
