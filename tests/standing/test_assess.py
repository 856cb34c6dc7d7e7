"""What a supply or a district is said to be doing, case by case; the expected states are the trade's own meaning of the figures."""

import json
from dataclasses import replace

import msgspec
import pytest

from dashboard.views.payload import tick
from monitor.runtime.trend import Trend
from monitor.standing import assess, headline
from monitor.values import Cause, Finding, FindingKind, Priority
from tests.standing.moments import LAYOUT, NOW_S, SOUTH, event_of, load_of, now_of, picture_of, port_of, standing, warning_of

STUCK = Finding(id=1, board="bench-1", channel=1, kind=FindingKind.STUCK, start_s=0, end_s=None, count=1, check="Look.")
OPEN = load_of(share=0.0, is_open=True, open_since_s=NOW_S - 12, reset_in_s=9.5, heat=0.85)
DEAD = tuple(now_of(name, volts=0.2, amps=0.02) for name in ("Outer main", "Quarry branch"))
ALL_OLD = tuple(now_of(row.name, age_s=3.0) for row in LAYOUT.district)


def shown(picture):
    sent = tick(LAYOUT, picture, Trend(len(LAYOUT.district)).window(picture.now_s, 5))
    return json.loads(msgspec.json.encode(sent))


def words(picture):
    said = shown(picture)
    return said["supplies"][0]["word"], said["districts"][0]["word"], said["headline"]["sentence"]


CALM = "Nothing is near its limit"
SHORT = {"rule": "short", "kind": "district", "name": "Outer main"}


@pytest.mark.parametrize(
    ("picture", "supply", "district", "head"),
    [
        (picture_of(), "running", "running", CALM),
        (picture_of(now_of(amps=0.02)), "running", "draws nothing", CALM),
        (picture_of(loads=(load_of(share=0.93), SOUTH)), "near its limit", "running", "North bench is near its limit"),
        (picture_of(loads=(load_of(share=1.24), SOUTH)), "overloaded", "running", "North bench is overloaded"),
        (
            picture_of(loads=(load_of(share=1.24, forecast_s=30.5), SOUTH)),
            "overloaded, opens in about 30 s (15 s to 60 s)", "running",
            "North bench is overloaded: if that goes on, its protection opens in about 30 s (15 s to 60 s)",
        ),
        (
            picture_of(loads=(load_of(share=1.24, forecast_s=30.5), SOUTH), warnings=(standing(),)),
            "overloaded, opens in about 30 s (15 s to 60 s)", "running",
            "North bench is overloaded: its protection opens in about 30 s (15 s to 60 s).",
        ),
        (  # the warning still stands, what is drawn is back in bounds: nothing is expected to open
            picture_of(warnings=(standing(),)), "near its limit", "running",
            "North bench was overloaded a moment ago: now 70 % of the North bench winding at 10.0 A, 3.0 A (42 VA) left.",
        ),
        (picture_of(*DEAD, loads=(OPEN, SOUTH)), "no power: protection open", "no power: protection open",
            "North bench: no power: protection open"),
        (picture_of(loads=(OPEN, SOUTH)), "running", "running", CALM),  # power is back, the judge is a moment behind
        (picture_of(*DEAD), "no power", "no power", CALM),
        (  # not judged, and seen to be dead
            picture_of(*DEAD, loads=(SOUTH,), warnings=(standing(),)), "no power", "no power",
            "North bench was overloaded; there is no power now.",
        ),
        (picture_of(DEAD[0], events=(event_of(Cause.FEED_LOST),)), "running", "no power: feed lost", "Outer main: no power: feed lost"),
        (picture_of(DEAD[0], events=(event_of(Cause.THROTTLE, end_s=NOW_S - 1),)), "running", "no power: throttle down", CALM),
        (picture_of(DEAD[0]), "running", "no power", CALM),
        (
            picture_of(now_of(volts=3.0, amps=30.0), warnings=(standing(**SHORT),)),
            "short circuit", "short circuit", "Short circuit on Outer main.",
        ),
        (picture_of(warnings=(standing(**SHORT),)), "running", "act now", "Short on Outer main a moment ago; power is back."),
        (
            picture_of(now_of(volts=3.0, amps=30.0), events=(event_of(Cause.SHORT),)),
            "short circuit", "short circuit", "Short circuit on Outer main",
        ),
        (picture_of(events=(event_of(Cause.SHORT),)), "running", "running", CALM),
        (picture_of(events=(event_of(Cause.PROTECTION_OPEN),)), "running", "running", CALM),
        (picture_of(events=(event_of(),)), "running", "lost contact", "Outer main: lost contact"),
        (picture_of(now_of(findings=(STUCK,))), "running", "sensor stuck", CALM),
        (  # a short clips the sensor: that hides no short
            picture_of(now_of(volts=3.0, amps=30.0, findings=(STUCK,)), warnings=(standing(**SHORT),)),
            "short circuit", "short circuit", "Short circuit on Outer main.",
        ),
        (picture_of(now_of(age_s=3.0)), "running, 1 unread", "no figures for 3 s", "1 of 3 districts without live figures"),
        (picture_of(now_of(age_s=None)), "running, 1 unread", "no figures yet", "1 of 3 districts without live figures"),
        (
            picture_of(warnings=(standing(rule="over-output-limit", priority=Priority.MEDIUM, kind="output", name="North bench/A"),)),
            "near its limit", "near its limit",
            "North bench/A was overloaded a moment ago: now 33 % of output North bench/A at 6.0 A.",
        ),
        (
            picture_of(warnings=(standing(**SHORT, comes_and_goes=True),)),
            "running", "act now", "Short on Outer main comes and goes; power is there now.",
        ),
        (  # a train that stands is near no limit
            picture_of(warnings=(standing(rule="stalled", priority=Priority.MEDIUM, kind="district", name="Outer main"),)),
            "running", "act soon",
            "Outer main has drawn a steady 3.0 A for 7 s; its laps drew 1.9 A at most: a train is stalled, or something was switched on.",
        ),
        (picture_of(warnings=(standing(shelved_until_s=NOW_S + 100),)), "running", "running", CALM),
        (picture_of(loads=()), "draw not known", "running", "No warning stands"),
    ],
)  # fmt: skip
def test_states(picture, supply, district, head):
    assert words(picture) == (supply, district, head)


@pytest.mark.parametrize(
    ("ports", "age_s", "why"),
    [
        ((), 3.0, ""),
        ((port_of("lost"),), 3.0, "the link to the board is down"),
        ((port_of("opening"),), None, "the link to the board is down"),
        ((port_of("silent"),), 3.0, "the board is silent"),
        ((port_of("reading", NOW_S - 0.1),), 3.0, "this computer is late"),
        ((port_of("reading", NOW_S - 1.3),), 3.0, "this computer is late"),
        ((port_of("reading", NOW_S - 1.7),), 3.0, ""),
        ((port_of("reading", NOW_S - 3.0),), 3.0, ""),  # bytes and figures end together: nobody can tell yet
        ((port_of("wrong-baud"),), 3.0, "what comes is not understood"),
        ((replace(port_of("silent"), board="bench-9", port="/dev/ttyUSB9"),), 3.0, ""),  # another board's
        ((replace(port_of("lost"), board=""),), 3.0, "the link to the board is down"),  # known by its device alone
    ],
)
def test_the_cause_of_old_figures_is_named_only_where_the_port_bears_it_out(ports, age_s, why):
    old = tuple(replace(now_of(row.name), age_s=age_s) for row in LAYOUT.district)
    said = assess(LAYOUT, picture_of(*old, ports=ports))
    told = shown(picture_of(*old, ports=ports, warnings=(standing(),)))
    assert {district.late for district in said.districts} <= {"", "link", "board", "computer", "not-understood"}
    if age_s is not None:
        assert all(row["word"] == f"no figures for 3 s{': ' + why if why else ''}" for row in told["districts"])
        assert told["headline"]["more"].endswith(f"The figures are 3 s old{': ' + why if why else ''}.")


@pytest.mark.parametrize(
    ("picture", "said"),
    [
        (picture_of(now_of(age_s=1.0)), ("running", "running")),
        (picture_of(now_of(age_s=1.2)), ("running, 1 unread", "no figures for 1 s")),
        (picture_of(loads=(load_of(at_s=NOW_S - 2.9), SOUTH)), ("running", "running")),
        (picture_of(loads=(load_of(at_s=NOW_S - 3.4), SOUTH)), ("draw not known", "running")),
        (picture_of(now_of(volts=0.95, amps=0.0)), ("running", "no power")),
        (picture_of(now_of(volts=1.1, amps=0.0)), ("running", "draws nothing")),
        (picture_of(now_of(amps=0.09)), ("running", "draws nothing")),
        (picture_of(now_of(amps=0.12)), ("running", "running")),
        (picture_of(now_of(volts=8.9), warnings=(standing(**SHORT),)), ("short circuit", "short circuit")),
        (picture_of(now_of(volts=9.5), warnings=(standing(**SHORT),)), ("running", "act now")),
        (picture_of(now_of(amps=9.9), warnings=(standing(**SHORT),)), ("running", "act now")),
        (picture_of(now_of(amps=10.1), warnings=(standing(**SHORT),)), ("short circuit", "short circuit")),
    ],
)
def test_each_bound_lies_where_its_table_says(picture, said):
    assert words(picture)[:2] == said


@pytest.mark.parametrize(("age_s", "hidden"), [(2.0, False), (14.0, False), (16.0, True)])
def test_late_figures_hide_no_act_now_until_it_says_nothing_of_now(age_s, hidden):
    old = tuple(now_of(row.name, age_s=age_s) for row in LAYOUT.district)
    load = load_of(share=1.3, forecast_s=30.0, at_s=NOW_S - age_s)
    said = shown(picture_of(*old, loads=(load,), warnings=(standing(),), ports=(port_of("silent"),)))
    assert ("North bench is overloaded" in said["headline"]["sentence"]) is not hidden
    assert (said["supplies"][0]["level"] == "high") is not hidden
    never = shown(picture_of(*(now_of(row.name, age_s=None) for row in LAYOUT.district), loads=()))
    assert never["headline"]["sentence"] == "No figures yet"
    assert (said["headline"]["sentence"] == "No live figures for 16 s") is hidden
    assert (said["headline"]["opens"] or {}).get("in_s") == (None if hidden else pytest.approx(30.0 - age_s))


def test_a_countdown_is_one_and_runs_down_between_two_forecasts():
    picture = picture_of(loads=(load_of(share=1.3, forecast_s=30.5), SOUTH), warnings=(standing(),))
    before = assess(LAYOUT, picture)
    later = shown(replace(picture, now_s=NOW_S + 2.0))
    assert headline(before).countdown == assess(LAYOUT, replace(picture, now_s=NOW_S + 2.0)).supplies[0].countdown
    assert later["headline"]["opens"]["in_s"] == pytest.approx(28.0)
    assert later["headline"]["opens"] == later["warnings"][0]["opens"] == later["supplies"][0]["opens"]
    assert (
        shown(replace(picture, now_s=NOW_S + 2.4, loads=(load_of(share=1.3, forecast_s=2.5),)))["headline"]["opens"]["words"]
        == "at any moment"
    )


def test_a_first_warning_without_any_load_counts_down_from_when_it_rose():
    said = shown(picture_of(*ALL_OLD, loads=(), warnings=(standing(),)))
    assert said["headline"]["opens"]["in_s"] == pytest.approx(20.0)
    assert said["headline"]["sentence"].endswith("opens in about 20 s.")


def test_warnings_of_one_supply_that_say_the_same_are_one():
    rating = standing(rule="over-winding", priority=Priority.MEDIUM, number=5, start_s=NOW_S - 20)
    said = shown(picture_of(loads=(load_of(share=1.3, forecast_s=30.0), SOUTH), warnings=(standing(), rating)))
    (one,) = said["warnings"]
    assert (one["ids"], one["level"], one["since_s"]) == ([7, 5], "high", 20)
    assert one["message"].endswith("It began when the draw of Outer main rose by 6.4 A, which no single known load explains.")
    apart = shown(picture_of(warnings=(standing(**SHORT), rating)))
    assert [row["ids"] for row in apart["warnings"]] == [[7], [5]]
    # One of the two was put aside: the other leads, and both come back in sight together.
    aside = shown(picture_of(warnings=(replace(standing(), shelved_until_s=NOW_S + 60), rating)))
    assert [(row["ids"], row["shelved_s"]) for row in aside["warnings"]] == [([5, 7], None)]


def test_an_open_protection_counts_down_to_when_it_closes_in_one_way():
    opened = standing(rule="protection-open", priority=Priority.MEDIUM)
    said = shown(picture_of(*DEAD, loads=(OPEN, SOUTH), warnings=(opened,)))
    assert "in about 9 s" in said["headline"]["sentence"]
    assert said["supplies"][0]["heat_words"].endswith("closes by itself in about 9 s")
    assert said["supplies"][0]["limit"] == ""
    back = shown(picture_of(loads=(OPEN, SOUTH), warnings=(opened,)))
    assert back["headline"]["sentence"] == "The protection of North bench opened 10 s ago; power is back."


@pytest.mark.parametrize(
    ("past", "now", "sentence"),
    [
        (warning_of(**SHORT, end_s=NOW_S - 12, state="returned"), now_of(), "Short on Outer main, 12 s ago; power is back"),
        (warning_of(**SHORT, end_s=NOW_S - 12, state="returned"), DEAD[0], "Short on Outer main, 12 s ago; no power there now"),
        (warning_of(**SHORT, end_s=NOW_S - 12, state="returned"), now_of(age_s=9.0),
            "Short on Outer main, 12 s ago; no figures from there now"),
        (
            warning_of("protection-open", Priority.MEDIUM, start_s=NOW_S - 40, end_s=NOW_S - 20, state="returned"), now_of(),
            "The protection of North bench opened 40 s ago; power is back",
        ),
        (warning_of(end_s=NOW_S - 9, state="returned"), now_of(), "North bench was overloaded until 9 s ago; power is there now"),
        (warning_of(**SHORT, end_s=NOW_S - 12, state="normal"), now_of(), CALM),
        (warning_of(**SHORT, end_s=NOW_S - 301, state="returned"), now_of(), CALM),
        (warning_of("over-winding", Priority.MEDIUM, end_s=NOW_S - 9, state="returned"), now_of(), CALM),
    ],
)  # fmt: skip
def test_what_asked_at_once_stays_the_headline_until_seen_or_five_minutes(past, now, sentence):
    said = shown(picture_of(now, past_warnings=(past,)))["headline"]
    assert said["sentence"] == sentence
    assert said["latched"] is (sentence != CALM)
    assert said["why"] == ("/stalls" if sentence.startswith("Short") else "")
    assert said["ids"] == ([7] if sentence != CALM else [])


def test_one_seen_is_for_all_of_a_supply_that_is_over():
    short = warning_of(**SHORT, end_s=NOW_S - 30, state="returned", number=1)
    opening = warning_of("protection-open", Priority.MEDIUM, end_s=NOW_S - 5, state="returned", number=2)
    other = warning_of(rule="short", kind="district", name="Town lights", end_s=NOW_S - 50, state="returned", number=3)
    said = assess(LAYOUT, picture_of(past_warnings=(opening, short, other)))
    assert [(each.kind, each.ids) for each in said.latched] == [("short", (1, 2)), ("short", (3,))]


def test_a_flood_counts_now_names_its_first_and_colours_nothing():
    flood = standing(rule="flood", priority=Priority.LOW, name="South bench", number=90)
    first = warning_of("over-winding", Priority.MEDIUM, start_s=NOW_S - 500, end_s=NOW_S - 400, first_out=True, number=1)
    old = warning_of("over-winding", Priority.MEDIUM, start_s=NOW_S - 700, end_s=NOW_S - 650, first_out=True, number=0)
    said = shown(picture_of(warnings=(flood,), past_warnings=(first, old)))
    (row,) = said["warnings"]
    assert row["message"] == "1 warnings in ten minutes; the first was about North bench: those without hurry are held back."
    assert row["advice"].startswith("No other warning stands now")
    assert {each["level"] for each in (*said["supplies"], *said["districts"])} == {"well"}
    assert said["headline"]["sentence"] == CALM


@pytest.mark.parametrize(
    ("things", "level"),
    [
        ({"events": (event_of(Cause.SHORT),)}, "high"),
        ({"warnings": (standing(**SHORT),)}, "high"),
        ({"warnings": (standing(**SHORT, shelved_until_s=NOW_S + 60),)}, "low"),
    ],
)
def test_a_short_is_urgent_unless_it_was_put_aside(things, level):
    assert assess(LAYOUT, picture_of(now_of(volts=3.0, amps=30.0), **things)).districts[0].level == level


def test_late_figures_hide_no_open_protection():
    opened = standing(rule="protection-open", priority=Priority.MEDIUM)
    (north, _) = assess(LAYOUT, picture_of(*ALL_OLD, loads=(OPEN, SOUTH), warnings=(opened,))).supplies
    assert (north.state, north.no_power, north.level) == ("no-power", "protection", "medium")


def test_what_was_put_aside_stands_last_whatever_its_level():
    near = standing("near-limit", Priority.LOW, name="South bench", number=8)
    told = assess(LAYOUT, picture_of(warnings=(standing(shelved_until_s=NOW_S + 60), near))).notices
    assert [notice.ids for notice in told] == [(8,), (7,)]
