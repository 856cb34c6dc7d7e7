"""What stands beside the one sentence: whether an opening is expected, and which silent places are named."""

import pytest

from monitor.standing import assess, headline
from tests.standing.moments import LAYOUT, SOUTH, load_of, now_of, picture_of


@pytest.mark.parametrize("share", [0.93, 1.24])
def test_that_no_opening_is_expected_is_said_only_where_heat_is_followed(share):
    followed = headline(assess(LAYOUT, picture_of(loads=(load_of(share=share), SOUTH))))
    assert followed.more.endswith(" At this draw its protection is not expected to open.")
    blind = headline(assess(LAYOUT, picture_of(loads=(load_of(share=share, heat=None), SOUTH))))
    assert blind.more.endswith(". Its protection may allow that for long, its winding and wires may not.")
    assert blind.more.startswith(f"{share * 100:.0f} % of the North bench winding at 10.0 A, ")


def test_all_is_well_names_what_comes_closest():
    said = headline(assess(LAYOUT, picture_of(loads=(load_of(share=0.4), load_of("South bench", 0.6)))))
    assert said.more.startswith("Closest: South bench, 60 % of the South bench total of 90 VA")


def test_silent_places_are_named():
    said = headline(assess(LAYOUT, picture_of(now_of(age_s=3.0), now_of("Town lights", age_s=None))))
    assert (said.sentence, said.more) == (
        "2 of 3 districts without live figures",
        "Outer main, Town lights: nothing can be said about them now.",
    )
