"""The words of a moment; spans as a person says them, bounds of heat only where they are wide."""

import pytest

from monitor.standing import assess
from monitor.standing.states import Countdown
from monitor.standing.words import countdown_words, heat_words, notice_words, percent, seconds
from monitor.values import Priority
from tests.standing.moments import LAYOUT, NOW_S, SOUTH, load_of, picture_of, standing


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (-1.0, "0 s"), (0.4, "0 s"), (59.4, "59 s"), (60.0, "1 min"), (61.0, "1 min 1 s"), (120.0, "2 min"), (599.0, "9 min 59 s"),
        (601.0, "10 min"), (659.0, "10 min"), (3599.0, "59 min"), (3600.0, "1 h 0 min"), (3660.0, "1 h 1 min"), (7325.0, "2 h 2 min"),
    ],
)  # fmt: skip
def test_a_span_has_no_more_figures_than_matter(value, said):
    assert seconds(value) == said


def test_a_share_that_is_not_known_has_no_figure():
    assert [percent(share) for share in (None, float("nan"), 0.0, 0.994, 1.2)] == ["–", "–", "0 %", "99 %", "120 %"]


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


@pytest.mark.parametrize(("forecast_s", "left"), [(30.5, "in about 30 s (15 s to 60 s)"), (None, "in about 10 s")])
def test_the_warning_of_an_output_counts_down_as_its_supply_does(forecast_s, left):
    """Else two times of one opening would stand side by side; without a forecast it counts from when it rose."""
    warning = standing(
        "over-output-limit", Priority.MEDIUM, "output", "North bench/A",
        message="North bench/A carries 7.0 A: its protection may open in about 20 s.", time_words="in about 20 s", trip_in_s=20.0,
    )  # fmt: skip
    stands = assess(LAYOUT, picture_of(loads=(load_of(share=1.3, forecast_s=forecast_s), SOUTH), warnings=(warning,)))
    assert notice_words(stands.notices[0], stands, NOW_S) == f"North bench/A carries 7.0 A: its protection may open {left}"


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
