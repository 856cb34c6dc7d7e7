"""What binds, what is left and how long, in the words of the moment."""

import json
from dataclasses import replace

import msgspec
import pytest

from dashboard.views.headroom import district_room, heat_words, message_now, opening, supply_room
from dashboard.views.payload import tick
from dashboard.views.shares import supply_loads
from dashboard.views.words import LATCHED_FOR_S, headline
from monitor.runtime.trend import Trend
from monitor.values import Headroom, Limit, PlaceLoad, Priority, SupplyLoad, TripForecast
from tests.dashboard.test_views import LAYOUT, now_of, picture_of, standing

WINDING = Limit(kind="winding", place="North bench", amps=10.0, va=None, words="the North bench winding at 10.0 A")


def told(message="North bench is overloaded and will open in about 30 s (20 s to 40 s). It began.", rule="trip-forecast"):
    base = standing(trip_in_s=30.0)
    warning = replace(base.warning, rule=rule, message=message, time_words="in about 30 s (20 s to 40 s)")
    return replace(base, warning=warning)


def load_of(forecast=None, at_s=99.5, **fields):
    room = Headroom(share=0.7, binding=WINDING, amps_left=3.0, va_left=42.0)
    fits = replace(room, sentence="one more 2 A engine fits on Outer main; the North bench winding at 10.0 A binds")
    places = (PlaceLoad(name="Outer main", amps=4.0, va=56.0, headroom=fits),)
    return SupplyLoad(
        name="North bench",
        at_s=at_s,
        amps=7.0,
        va=98.0,
        headroom=room,
        limits=(WINDING,),
        forecast=forecast,
        districts=places,
        **fields,
    )


def forecast_of(in_s):
    return TripForecast(in_s=in_s, earliest_s=in_s / 2, latest_s=2 * in_s, by_lap=False)


@pytest.mark.parametrize(
    ("loads", "in_s", "words"),
    [
        ((), 20.0, "in about 20 s"),
        ((load_of(forecast_of(15.5)),), 15.0, "in about 15 s (7 s to 30 s)"),
        ((load_of(forecast_of(0.9)),), 0.4, "any moment"),
        (
            (load_of(replace(forecast_of(0.9), is_late=True)),),
            0.4,
            "in about 1 s (1 s to 1 s, later than typical: this one is slow)",
        ),
        ((load_of(None),), None, "not at the present draw"),
        ((load_of(forecast_of(15.5), at_s=90.0),), 20.0, "in about 20 s"),
    ],
)
def test_message_and_countdown_agree(loads, in_s, words):
    """The warning rose at 90 s with 30 s left; now is 100 s. A load that is older than 3 s says nothing about now."""
    picture = picture_of(warnings=(told(),), loads=loads)
    now = opening(picture.warnings[0], picture)
    assert now.in_s == (None if in_s is None else pytest.approx(in_s))
    assert now.words == words
    assert message_now(picture.warnings[0], picture) == f"North bench is overloaded and will open {words}. It began."
    recent = Trend(len(LAYOUT.district)).window(picture.now_s, 5)
    sent = json.loads(msgspec.json.encode(tick(LAYOUT, picture, recent)))
    assert words in sent["warnings"][0]["message"]
    assert sent["warnings"][0]["opens_in_s"] == (None if in_s is None else pytest.approx(in_s, abs=0.05))
    assert sent["headline"]["opens_in_s"] == sent["warnings"][0]["opens_in_s"]
    assert words in sent["headline"]["sentence"]


def test_room_says_what_binds_and_what_still_fits():
    load = load_of()
    assert supply_room(load) == "The North bench winding at 10.0 A binds: 70 % used, 3.0 A (42 VA) left"
    assert district_room(load, "Outer main").startswith(
        "3.0 A (42 VA) left: one more 2 A engine fits on Outer main; the North bench"
    )
    assert district_room(load, "Inner main") == ""
    assert supply_room(None) == ""
    beyond = replace(load, headroom=replace(load.headroom, share=1.2, amps_left=-2.0, va_left=-28.0))
    assert supply_room(beyond).endswith("120 % used, 2.0 A (28 VA) too much")


def test_the_calm_headline_names_what_binds():
    picture = picture_of(loads=(load_of(),))
    said = headline(LAYOUT, picture, supply_loads(LAYOUT, picture.districts))
    assert said.more == "Closest: the North bench winding at 10.0 A binds: 70 % used, 3.0 A (42 VA) left."


def test_heat_says_its_bounds_the_opening_and_the_way_back():
    warm = load_of(forecast_of(12.0), heat=0.62, heat_lowest=0.4, heat_highest=0.8)
    assert (
        heat_words(warm, 100.0) == "Protection at 62 % of opening heat (between 40 % and 80 %); opens in about 10 s (6 s to 25 s)"
    )
    sure = load_of(heat=0.3, heat_lowest=0.28, heat_highest=0.32)
    assert heat_words(sure, 100.0) == "Protection at 30 % of opening heat"
    cooling = load_of(heat=0.85, is_open=True, open_since_s=88.0, reset_in_s=9.0)
    assert heat_words(cooling, 100.0) == "Protection open for 12 s, cooled to 85 % of opening heat: back by itself in about 9 s"
    assert heat_words(replace(cooling, reset_in_s=None), 100.0).endswith("reset it by hand")
    assert heat_words(load_of(), 100.0) == ""


def tick_now(picture):
    recent = Trend(len(LAYOUT.district)).window(picture.now_s, 5)
    return json.loads(msgspec.json.encode(tick(LAYOUT, picture, recent)))


def test_nothing_fits_on_a_district_without_power_and_its_chip_says_why():
    dead = now_of("Outer main", volts=0.1, amps=0.0)
    open_load = replace(load_of(), is_open=True, open_since_s=95.0)
    said = tick_now(picture_of(dead, loads=(open_load,)))["districts"]
    assert (said[0]["fits"], said[0]["word"]) == ("", "no power: protection open")
    running = tick_now(picture_of(now_of("Outer main"), loads=(load_of(),)))["districts"]
    assert running[0]["fits"].startswith("3.0 A")
    # Power is back on one district while the judge still holds its supply open: what is measured goes first.
    assert tick_now(picture_of(now_of("Outer main"), loads=(open_load,)))["districts"][0]["word"] == "running"


def test_a_supplys_trouble_is_no_word_of_a_healthy_district():
    said = tick_now(picture_of(warnings=(told(),)))
    assert {row["word"] for row in said["districts"]} <= {"running", "on"}
    assert said["supplies"][0]["word"] == "act now"


@pytest.mark.parametrize(("share", "calm"), [(0.7, True), (0.93, False), (1.24, False)])
def test_what_binds_decides_whether_anything_is_near_its_limit(share, calm):
    load = replace(load_of(), headroom=replace(load_of().headroom, share=share))
    picture = picture_of(loads=(load,))
    said = headline(LAYOUT, picture, supply_loads(LAYOUT, picture.districts))
    assert (said.sentence == "Nothing is near its limit") is calm


def test_no_word_of_passing_by_itself_beside_a_forecast():
    load = replace(load_of(forecast_of(30.0)), heat=0.6, headroom=replace(load_of().headroom, share=1.24))
    picture = picture_of(loads=(load,))
    said = headline(LAYOUT, picture, supply_loads(LAYOUT, picture.districts))
    assert "opens in about" in said.more
    calm = replace(picture, loads=(replace(load, forecast=None),))
    assert headline(LAYOUT, calm, supply_loads(LAYOUT, calm.districts)).more == "At this draw nothing is expected to open."


@pytest.mark.parametrize(("age_s", "hidden"), [(2.0, False), (14.0, False), (16.0, True)])
def test_late_figures_hide_no_act_now_until_it_says_nothing_about_now(age_s, hidden):
    picture = picture_of(*(now_of(row.name, age_s=age_s) for row in LAYOUT.district), warnings=(told(),))
    said = headline(LAYOUT, picture, supply_loads(LAYOUT, picture.districts))
    assert ("North bench is overloaded" in said.sentence) is not hidden
    assert hidden or f"The figures are {age_s:.0f} s old." in said.more


@pytest.mark.parametrize(
    ("state", "ended_s", "priority", "latched"),
    [
        ("returned", 99.0, Priority.HIGH, True),
        ("normal", 99.0, Priority.HIGH, False),  # marked as seen
        ("returned", 99.0, Priority.MEDIUM, False),
        ("returned", 99.0 - LATCHED_FOR_S, Priority.HIGH, False),
    ],
)
def test_an_act_now_that_is_over_stays_the_headline_until_it_is_seen(state, ended_s, priority, latched):
    short = replace(told("Short circuit on Quarry branch.").warning, end_s=ended_s, state=state, priority=priority)
    picture = picture_of(past_warnings=(short,))
    said = headline(LAYOUT, picture, supply_loads(LAYOUT, picture.districts))
    assert ("Short circuit on Quarry branch." in said.sentence) is latched
    assert said.warning_id == (short.id if latched else None)
