from monitor.layout import parse_layout
from monitor.planning.morning import PastShow, open_troubles
from monitor.values import Action, Cause, Event, Finding, FindingKind, Pattern, Priority, Scope
from monitor.values import Warning as RaisedWarning
from tests.layout.fernhollow import FERNHOLLOW

LAYOUT = parse_layout(FERNHOLLOW)


def stall(at_s, district="Outer main", cause=Cause.LOST_CONTACT):
    return Event(id=int(at_s), district=district, cause=cause, start_s=at_s, end_s=at_s + 1, confidence=0.9)


def mark(at_s, text="cleaned the rails", district="Outer main"):
    return Action(kind="mark", at_s=at_s, text=text, district=district)


def warned(at_s, name, priority=Priority.HIGH):
    return RaisedWarning(
        id=int(at_s), rule="overload", priority=priority, scope=Scope(kind="supply", name=name), start_s=at_s, end_s=None,
        trip_in_s=None, message=f"{name} is over its plate.", advice="",
    )  # fmt: skip


def test_stalls_without_a_mark_of_repair_are_open():
    show = PastShow(day="Saturday", events=[stall(10), stall(70), stall(5, "Town lights", Cause.SHORT)])
    assert open_troubles(LAYOUT, [show]) == [
        "Outer main: lost contact 2 times, last on Saturday.",
        "Town lights: short once, last on Saturday.",
    ]


def test_what_was_repaired_is_closed_until_it_happens_again():
    events = [stall(10), stall(70)]
    assert open_troubles(LAYOUT, [PastShow(day="Saturday", events=events, marks=[mark(80)])]) == []
    assert open_troubles(LAYOUT, [PastShow(day="Saturday", events=events, marks=[mark(20)])]) == [
        "Outer main: lost contact once, last on Saturday."
    ]
    assert open_troubles(LAYOUT, [PastShow(day="Saturday", events=events, marks=[mark(80, district="Town lights")])]) != []
    # A remark without a district counts for what it names.
    assert (
        open_troubles(LAYOUT, [PastShow(day="Saturday", events=events, marks=[mark(80, "outer main: new joiner", None)])]) == []
    )
    later = PastShow(day="Saturday", marks=[mark(3)])
    assert open_troubles(LAYOUT, [PastShow(day="Saturday", events=events), later]) == []


def test_what_people_did_on_purpose_is_no_trouble():
    show = PastShow(
        day="Saturday", events=[stall(1, cause=Cause.THROTTLE), stall(2, cause=Cause.DIRECTION_BREAK), stall(3, "Gone")]
    )
    assert open_troubles(LAYOUT, [show]) == []


def test_spots_warnings_and_sensors_are_named():
    pattern = Pattern(
        verdict="fixed-spot", districts=("Outer main",), events=7, lap_s=21.0, lap_fraction=0.4, p_value=1e-6, start_s=5.0
    )
    finding = Finding(
        id=1,
        board="bench-1",
        channel=3,
        kind=FindingKind.REVERSED,
        start_s=4.0,
        end_s=None,
        count=9,
        check="Turn the sensor round.",
    )
    show = PastShow(
        day="Saturday",
        patterns=[pattern],
        findings=[finding],
        warnings=[warned(5, "North bench", Priority.MEDIUM), warned(9, "North bench"), warned(12, "South bench", Priority.LOW)],
    )
    assert open_troubles(LAYOUT, [show]) == [
        "Outer main: 7 of these at one spot, 0.40 of a lap on: look there first.",
        "North bench: 2 times a warning of high priority at most, on Saturday: North bench is over its plate.",
        "Sensor board bench-1, channel 3: reversed to the end of Saturday. Turn the sensor round.",
    ]


def test_nothing_recorded_nothing_open():
    assert open_troubles(LAYOUT, []) == []
