import pytest

from monitor.errors import LayoutError
from monitor.layout import parse_layout
from monitor.layout.edit import set_load_draw, set_supply_condition
from tests.layout.fernhollow import FERNHOLLOW

COMMENTED = "# our own remark\n" + FERNHOLLOW.replace("rated_va = 180", "rated_va = 180 # plate under the case")


def test_a_check_is_written_and_comments_stay():
    text = set_supply_condition(COMMENTED, "South bench", {"cord": "sound", "breaker_present": True, "checked_on": "2026-11-01"})
    condition = parse_layout(text).supply[1].condition
    assert condition is not None
    assert (condition.cord, condition.breaker_present, condition.checked_on) == ("sound", True, "2026-11-01")
    assert "# our own remark" in text
    assert "# plate under the case" in text
    assert parse_layout(text).supply[0].condition == parse_layout(COMMENTED).supply[0].condition


def test_an_earlier_check_is_changed_in_place():
    text = set_supply_condition(COMMENTED, "North bench", {"cord": "stiff"})
    condition = parse_layout(text).supply[0].condition
    assert condition is not None
    assert (condition.cord, condition.made_year) == ("stiff", 1998)


def test_a_measured_draw_replaces_a_guess():
    text = set_load_draw(COMMENTED, "Heavy freight engine", 2.8149)
    assert parse_layout(text).load[0].running_amps == 2.81


def test_names_that_are_not_there():
    with pytest.raises(LayoutError, match='supply "West bench"'):
        set_supply_condition(COMMENTED, "West bench", {})
    with pytest.raises(LayoutError, match="no such load"):
        set_load_draw('title = "x"\n[mains]\nvolts=120\nhertz=60\n', "x", 1.0)
