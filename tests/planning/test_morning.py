from monitor.layout import parse_layout
from monitor.planning.bench_check import check_all
from monitor.planning.budget import make_budget
from monitor.planning.morning import morning_list
from monitor.planning.plan_file import Plan
from tests.layout.fernhollow import FERNHOLLOW
from tests.planning.test_bench_check import TODAY


def listed(text, troubles=(), day=""):
    layout = parse_layout(text)
    verdicts = check_all(layout, Plan(), today=TODAY)
    return morning_list(layout, verdicts, make_budget(layout), troubles, day)


def test_the_list_names_what_is_open():
    text = listed(FERNHOLLOW, ["Outer main lost contact at one spot, 0.4 of a lap after the station."])
    assert "South bench: Not judged yet" in text
    assert "From last time: Outer main lost contact" in text
    assert text.count("[ ]") >= 7


def test_an_overbooked_supply_is_on_it():
    heavy = FERNHOLLOW.replace("running_amps = 2.4", "running_amps = 9.0").replace("starting_amps = 4.5", "starting_amps = 9.0")
    assert "Leave something off" in listed(heavy)
    assert "Leave something off" not in listed(FERNHOLLOW)
