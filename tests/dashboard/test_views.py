import json
import math
from dataclasses import replace
from typing import get_args

import msgspec
import numpy as np
import pytest

from dashboard.views.detail import detail
from dashboard.views.figures import decimals_for, figure, power_factor, volt_amperes
from dashboard.views.live_page import columns_for, live_page
from dashboard.views.payload import tick
from dashboard.views.plots import history_plot
from dashboard.views.shares import output_limit_amps, output_loads
from monitor.runtime.live import Live
from monitor.runtime.picture import Picture
from monitor.runtime.trend import Trend, TrendWindow
from monitor.standing import DistrictNow, StandingWarning
from monitor.standing.words import WORD_OF_CAUSE, WORD_OF_PORT, first_sentence
from monitor.values import Cause, Chunk, Event, Finding, FindingKind, PortState, PortStatus, Priority, Scope, Step
from monitor.values import Warning as RaisedWarning
from monitor.words.figures import percent, seconds
from tests.browser.hall import hall_layout
from tests.protection.streams import block, layout_with

LAYOUT = hall_layout(4)


def now_of(name, volts=15.0, amps=2.0, age_s=0.1, findings=()):
    return DistrictNow(name=name, age_s=age_s, volts_rms=volts, amps_rms=amps, watts=volts * amps * 0.9, findings=findings)


def picture_of(*districts, **things):
    standing = {d.name: d for d in districts}
    rows = tuple(standing.get(row.name, now_of(row.name)) for row in LAYOUT.district)
    return Picture(now_s=100.0, districts=rows, boards={}, healths={}, **things)


def standing(priority=Priority.HIGH, kind="supply", name="North bench", trip_in_s=30.0, shelved_until_s=None):
    warning = RaisedWarning(
        id=7,
        rule="supply-heat",
        priority=priority,
        scope=Scope(kind=kind, name=name),
        start_s=90.0,
        end_s=None,
        trip_in_s=trip_in_s,
        message="North bench may open.",
        advice="Stop a train.",
    )
    return StandingWarning(warning=warning, shelved_until_s=shelved_until_s)


def tick_of(picture):
    recent = Trend(len(LAYOUT.district)).window(picture.now_s, 5)
    return json.loads(msgspec.json.encode(tick(LAYOUT, picture, recent)))


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        (3.456, 2, "3.46"),
        (13.456, 2, "13.5"),
        (113.456, 2, "113"),
        (3.456, 1, "3.5"),
        (0.04, 1, "0.0"),
        (-0.04, 1, "0.0"),
        (-1.26, 1, "-1.3"),
        (None, 1, "–"),
        (math.nan, 1, "–"),
        (math.inf, 1, "–"),
    ],
)
def test_figures_have_three_digits_at_most(value, decimals, text):
    assert figure(value, decimals) == text


def test_decimals_follow_the_converter():
    # One count of 0.0703 V supports tenths, one of 0.0098 A supports hundredths; ready-made readings get two.
    assert [decimals_for(step) for step in (0.0703, 0.0098, 0.5, 1.0, None)] == [1, 2, 0, 2, 2]


def test_shares_and_spans_in_words():
    assert [percent(0.624), percent(None), volt_amperes(9.96), volt_amperes(9.2)] == ["62 %", "–", "10", "9.2"]
    assert [seconds(s) for s in (7.6, 125, 700, 7400)] == ["8 s", "2 min 5 s", "11 min", "2 h 3 min"]


def test_power_factor_is_real_over_apparent():
    assert power_factor(now_of("Outer main")) == pytest.approx(0.9)
    assert power_factor(now_of("Outer main", amps=0.0)) is None


def test_an_output_is_limited_by_its_own_figure_or_the_winding():
    supply = LAYOUT.supply[0]
    assert output_limit_amps(LAYOUT, supply, "A") == 10.0  # 180 VA / 18 V = 10 A, and its own limit is 10 A
    assert output_limit_amps(LAYOUT, supply, "no such output") == 10.0


def test_a_supply_sums_its_live_districts():
    picture = picture_of(now_of("Inner main", age_s=1.5))
    loads = output_loads(LAYOUT, LAYOUT.supply[0], picture.districts)
    assert [output.amps for output in loads] == [pytest.approx(2.0), pytest.approx(4.0)]
    assert [output.share for output in loads] == [pytest.approx(0.2), pytest.approx(0.4)]
    assert tick_of(picture)["supplies"][0]["va"] == "90"


@pytest.mark.parametrize(
    ("field", "volts", "amps"), [("amps_clipped", "15.0", "≥\u00a04.00"), ("volts_clipped", "≥\u00a015.0", "4.00")]
)
def test_clipped_figures_are_lower_bounds_in_every_payload(field, volts, amps):
    layout = layout_with()
    cut = np.array([[True, False]])
    readings = replace(block(np.array([0.1]), np.array([[15.0, 16.0]]), np.array([[4.0, 1.0]])), **{field: cut})
    live = Live(layout, lambda: 0.1)
    live.publish(Step(port="test", chunk=Chunk(data=b""), now_s=0.1, readings=(readings,)))
    picture = live.picture()
    said = tick(layout, picture, live.trend(5))
    clipped, other = said["districts"]
    (supply,) = said["supplies"]
    assert [clipped[name] for name in ("volts", "amps", "va", "clipped")] == [volts, amps, "≥\u00a060", True]
    assert [other[name] for name in ("volts", "amps", "va", "clipped")] == ["16.0", "1.00", "16", False]
    assert (supply["va"], supply["clipped"]) == ("≥\u00a076", True)
    assert [output["amps"] for output in supply["outputs"]] == ["≥\u00a04.0", "1.0"]
    whole = [detail(layout, picture, row, None)["figures"] for row in layout.district]
    assert [sum("≥" in text for _, text, _ in figures) for figures in whole] == [3, 0]  # volts or amps, W and VA


def test_stale_and_doubtful_figures_are_never_shown_as_good():
    stuck = Finding(id=1, board="bench-1", channel=1, kind=FindingKind.STUCK, start_s=0, end_s=None, count=1, check="Look.")
    shown = tick_of(
        picture_of(now_of("Outer main", age_s=1.01), now_of("Inner main", findings=(stuck,)), now_of("Quarry branch", age_s=None))
    )["districts"]
    assert [d["level"] for d in shown] == ["stale", "doubt", "stale", "well"]
    assert [d["good"] for d in shown] == [True, False, True, True]
    assert shown[2]["word"] == "no figures yet"


def test_a_part_that_stands_still_is_on_the_page():
    said = tick_of(picture_of(now_of("Outer main"), troubles=("The pipeline stood still.",)))["findings"]
    assert [(row["where"], row["check"]) for row in said] == [("pilotlamp itself", "The pipeline stood still.")]


def test_what_happened_lately_stands_newest_first_and_deliberate_acts_do_not():
    def event(number, cause, start_s):
        return Event(id=number, district="Outer main", cause=cause, start_s=start_s, end_s=start_s + 0.1, confidence=0.9)

    events = (event(3, Cause.THROTTLE, 98.0), event(2, Cause.SHORT, 97.0), event(1, Cause.LOST_CONTACT, 80.0))
    past = replace(standing().warning, end_s=90.0)
    said = tick_of(picture_of(events=events, past_warnings=(past,)))["past"]
    assert [(p["id"], p["ago_s"]) for p in said] == [("e2", 3), ("w7", 10), ("e1", 20)]
    assert said[0]["what"] == "short circuit"
    assert [p["unseen"] for p in said] == [[], [], []]
    assert [p["link"] for p in said] == ["/stalls?event=2", "/review?session=now&at=90.0", "/stalls?event=1"]
    returned = replace(past, state="returned")
    (unseen,) = tick_of(picture_of(past_warnings=(returned,)))["past"]
    assert (unseen["unseen"], unseen["what"]) == ([7], "North bench may open (over, not seen yet)")


def test_the_first_sentence_is_enough_for_the_door():
    text = "North bench is overloaded: 11.3 A drawn, it holds 8.8 A. It began when Outer main went up by 6.4 A."
    assert first_sentence(text) == "North bench is overloaded: 11.3 A drawn, it holds 8.8 A."
    assert first_sentence("One only") == "One only"


def test_a_port_or_recorder_in_trouble_says_what_to_do():
    lost = PortStatus(port="/dev/ttyUSB0", board="bench-1", state="lost", sentence="bench-1 is unplugged: plug it in again.")
    said = tick_of(picture_of(ports=(lost,), recording="The disk is full: make room.", recording_is_well=False))
    assert [(f["where"], f["check"]) for f in said["findings"]] == [
        ("bench-1", lost.sentence),
        ("recording", "The disk is full: make room."),
    ]
    assert said["ports"] == [{"well": False, "board": "bench-1", "word": "unplugged"}]


def test_every_port_state_and_cause_has_a_word():
    assert set(WORD_OF_PORT) == set(get_args(PortState))
    assert set(WORD_OF_CAUSE) == set(Cause)


@pytest.mark.parametrize(("districts", "columns"), [(1, 1), (2, 2), (4, 2), (6, 3), (16, 4), (30, 6), (60, 6)])
def test_columns_on_a_wall_screen(districts, columns):
    assert columns_for(districts) == columns


def test_words_from_the_layout_reach_the_page_as_text():
    evil = "<script>alert(1)</script>"
    page = live_page(hall_layout(1, names=(evil,)))
    link = page.children[0].children[0].children[0].children[0].children
    assert link.children == evil  # a plain string: the browser's framework sets it as text
    assert link.href == "/district?name=%3Cscript%3Ealert%281%29%3C%2Fscript%3E"


def test_history_keeps_short_peaks_when_it_draws_buckets_together():
    buckets = 3000
    amps = np.full((buckets, 1), 1.0)
    highest = amps.copy()
    highest[1234] = 9.0
    volts, lowest = np.full((buckets, 1), 15.0), np.full((buckets, 1), 15.0)
    lowest[1300:1320] = np.nan
    drawn = history_plot(
        TrendWindow(first=0, volts_rms=volts, volts_lowest=lowest, amps_rms=amps, amps_highest=highest, watts=volts), 600.0
    )["axes"]
    by_name = {line["kind"]: line["values"] for axis in drawn for line in axis["lines"]}
    assert len(by_name["amps"]) == 600
    assert max(by_name["high"]) == 9.0
    assert by_name["low"].count(None) == 4
