"""What must be impossible, over random moments and random streams: payload against payload, read without the code that made it."""

import json
import re
import threading
from dataclasses import replace

import msgspec
import numpy as np
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from dashboard.hall.as_layout import Moment, layout_of
from dashboard.hall.payload import hall_tick, station_tick
from dashboard.health import health
from dashboard.views.payload import tick
from monitor.bus.hall_book import HallBook
from monitor.bus.hall_listener import HallPicture
from monitor.bus.notes import Writer
from monitor.bus.payloads import Presence, Readings, decode, encode
from monitor.cli.terminal import TerminalLines
from monitor.layout import parse_layout
from monitor.link import HostClock
from monitor.protection import Judge
from monitor.runtime.live import Live
from monitor.runtime.replay import Replay
from monitor.runtime.trend import Trend
from monitor.standing import assess
from monitor.values import Action, Cause, Chunk, Finding, FindingKind, Priority, ReadingBlock, Step
from tests.browser.hall import INTERVAL_S, Hall
from tests.sessions.test_demo_sessions import SHIPPED
from tests.standing.contradictions import contradictions
from tests.standing.moments import (
    LAYOUT,
    NOW_S,
    PLACES,
    SOUTH,
    TEXT,
    event_of,
    load_of,
    now_of,
    picture_of,
    port_of,
    standing,
    warning_of,
)

BEGAN = 1_764_070_000.0
OVERLOADS = ("trip-forecast", "over-winding", "over-nameplate", "near-limit", "no-protection")


def shown(picture, layout=LAYOUT):
    """The page's payload; health, worded apart, says the same of the same moment."""
    said = json.loads(msgspec.json.encode(tick(layout, picture, Trend(len(layout.district)).window(picture.now_s, 5))))
    standing = assess(layout, picture)
    _, well = health((), picture, standing, ())
    assert well["headline"] == {key: said["headline"][key] for key in ("level", "sentence")}
    for place in ("supplies", "districts"):
        assert [(row["state"], row["word"]) for row in well[place]] == [(row["state"], row["word"]) for row in said[place]]
    return said


@st.composite
def loads(draw, supply):
    share = draw(st.sampled_from((0.0, 0.4, 0.85, 0.899, 0.95, 1.0, 1.3)))
    forecast_s = draw(st.sampled_from((None, None, 0.6, 24.0, 70.0)))
    is_open = draw(st.booleans())
    more = {"is_open": True, "open_since_s": NOW_S - 20, "reset_in_s": draw(st.sampled_from((None, 12.0)))} if is_open else {}
    return load_of(supply, share, None if is_open else forecast_s, NOW_S - draw(st.sampled_from((0.1, 2.0, 9.0))), **more)


@st.composite
def warnings(draw, number):
    rule = draw(st.sampled_from((*OVERLOADS, "short", "protection-open", "over-output-limit", "flood")))
    place = draw(st.sampled_from(PLACES))
    kind, name = ("district", place[0]) if rule == "short" else ("supply", place[1])
    kind, name = ("output", "North bench/A") if rule == "over-output-limit" else (kind, name)
    high, low = rule in ("short", "trip-forecast", "no-protection"), rule in ("near-limit", "flood")
    priority = Priority.HIGH if high else Priority.LOW if low else Priority.MEDIUM
    return standing(rule, priority, kind, name, number, shelved_until_s=draw(st.sampled_from((None, None, NOW_S + 60))))


@st.composite
def pictures(draw):
    rows = [
        now_of(
            name,
            volts=draw(st.sampled_from((0.0, 0.4, 3.0, 12.9, 15.0))),
            amps=draw(st.sampled_from((0.0, 0.05, 1.8, 5.0, 30.0))),
            age_s=draw(st.sampled_from((0.1, 0.1, 0.1, 2.0, 14.0, 40.0, None))),
        )
        for name, *_ in PLACES
    ]
    faults = (Cause.SHORT, Cause.PROTECTION_OPEN, Cause.FEED_LOST, Cause.LOST_CONTACT, Cause.THROTTLE, Cause.MAINS_DIP)
    return picture_of(
        *rows,
        loads=tuple(
            draw(loads(supply)) for supply in draw(st.sampled_from((("North bench", "South bench"), ("North bench",), ())))
        ),
        warnings=tuple(draw(warnings(k)) for k in range(draw(st.integers(0, 3)))),
        events=tuple(
            event_of(draw(st.sampled_from(faults)), draw(st.sampled_from(PLACES))[0]) for _ in range(draw(st.integers(0, 2)))
        ),
        past_warnings=tuple(
            warning_of(
                w.warning.rule,
                w.warning.priority,
                w.warning.scope.kind,
                w.warning.scope.name,
                90 + k,
                end_s=NOW_S - 3,
                state="returned",
            )
            for k, w in enumerate(draw(st.lists(warnings(0), max_size=2)))
        ),
        ports=(port_of(draw(st.sampled_from(("reading", "silent", "lost")))),),
    )


@settings(max_examples=80, deadline=None)
@given(pictures())
def test_no_moment_contradicts_itself(picture):
    said = shown(picture)
    event(said["headline"]["sentence"].split(":")[0])
    assert contradictions(said, PLACES) == []
    later = shown(replace(picture, now_s=NOW_S + 1.0))
    for before, after in zip(said["supplies"], later["supplies"], strict=True):
        if before["opens"] and after["opens"]:
            assert after["opens"]["in_s"] in (max(0.0, round(before["opens"]["in_s"] - 1.0, 1)), 0.0)
    quiet = replace(picture, warnings=tuple(w for w in picture.warnings if w.warning.rule != "flood"))
    for part in ("supplies", "districts", "headline"):
        assert shown(quiet)[part] == said[part]  # a flood colours nothing


def in_the_hall(picture, layout=LAYOUT, book=None):
    """What a hall shows of a station at the moment at which it got all that the station sent, over its own wire form."""
    at_s = picture.now_s
    writer, book, now_unix_s = Writer(began_unix_s=BEGAN), book or HallBook(), BEGAN + at_s
    rows = {row.name: row for row in picture.districts}
    live = [name for name, row in rows.items() if not row.is_stale]
    columns = {key: tuple((getattr(rows[name], f"{key}_rms"),) for name in live) for key in ("volts", "amps")}
    readings = Readings(
        **writer.head(at_s), began_unix_s=BEGAN, first=round(2 * at_s) - 1, rows=1, districts=tuple(live), **columns,
        amps_highest=columns["amps"], watts=tuple((None,) for _ in live),
    )  # fmt: skip
    presence = Presence(**writer.head(at_s), state="here", now_s=at_s, judged=assess(layout, picture))
    for kind, body in (("layout", writer.outline(layout, at_s)), ("readings", readings), ("presence", presence)):
        book.take(decode(f"pilotlamp/1/Hall/Ridge/{kind}", encode(body)), now_unix_s)
    station = book.station("Hall", "Ridge", now_unix_s)
    told = HallPicture(now_unix_s=now_unix_s, stations=(station,), connected=True, sentence="", faults={})
    said = station_tick(told, station, layout_of(station), Moment(unix_s=now_unix_s, page_s=5.0))
    return json.loads(msgspec.json.encode(said)), json.loads(
        msgspec.json.encode(hall_tick(told, Moment(unix_s=now_unix_s, page_s=5.0)))
    )


@settings(max_examples=60, deadline=None)
@given(pictures())
def test_a_hall_says_of_a_station_what_its_own_page_says(picture):
    own = shown(picture)
    station, hall = in_the_hall(picture)
    assert (station["headline"], station["warnings"]) == (own["headline"], own["warnings"])
    of_station = dict(zip(sorted(name for name, _ in PLACES), station["districts"], strict=True))
    for (name, _), row in zip(PLACES, own["districts"], strict=True):
        assert {key: of_station[name][key] for key in ("state", "level", "word", "fits", "share")} == {
            key: row[key] for key in ("state", "level", "word", "fits", "share")
        }  # fmt: skip
    for here, there in zip(own["supplies"], station["supplies"], strict=True):
        assert {key: there[key] for key in ("state", "level", "word", "limit", "opens", "heat_words")} == {
            key: here[key] for key in ("state", "level", "word", "limit", "opens", "heat_words")
        }  # fmt: skip
    assert sorted(w["message"] for w in hall["warnings"]) == sorted(w["message"] for w in own["warnings"])
    if own["headline"]["level"] in ("high", "medium"):
        assert own["headline"]["sentence"] in hall["headline"]["sentence"]
        assert hall["headline"]["opens"] == own["headline"]["opens"]


def test_a_station_that_comes_back_with_another_layout_shows_nothing_of_the_old_one():
    book, short = HallBook(), standing("short", kind="district", name="Outer main")
    station, _ = in_the_hall(picture_of(now_of(volts=1.0, amps=28.0), warnings=(short,)), book=book)
    assert "Outer main" in station["headline"]["sentence"]
    other = parse_layout(TEXT.replace("Outer main", "Harbour").replace("North bench", "East bench"))
    well = picture_of(loads=(SOUTH,))
    well = replace(
        well,
        now_s=NOW_S + 30,
        districts=tuple(replace(each, name=each.name.replace("Outer main", "Harbour")) for each in well.districts),
    )
    station, hall = in_the_hall(well, other, book)
    own = shown(well, other)
    assert (station["headline"], station["warnings"]) == (own["headline"], own["warnings"])
    assert [row["word"] for row in station["districts"]] == [row["word"] for row in sorted_rows(own, other)]
    assert not re.search("Outer main|North bench", json.dumps([station, hall]))


def sorted_rows(said, layout):
    """District rows as a hall orders them: by name."""
    return [
        row
        for _, row in sorted(zip((row.name for row in layout.district), said["districts"], strict=True), key=lambda pair: pair[0])
    ]


def test_a_paused_replay_says_the_same_however_long_it_stands_still():
    """Its moments of news, one after the other: nothing counts on, nothing grows old, nothing contradicts itself."""
    replay, waited = Replay(SHIPPED[0]), threading.Event()
    places, heads = [(row.name, row.supply) for row in replay.layout.district], set()
    replay.pause()
    replay.start()
    try:
        for _ in range(8):
            replay.next_event()
            while replay.status().state == "leaping":
                replay.wait(0.02)
            if replay.status().state == "ended":
                break
            said = shown(replay.live.picture(), replay.layout)
            waited.wait(0.02)
            assert shown(replay.live.picture(), replay.layout) == said
            assert contradictions(said, places) == []
            heads.add(said["headline"]["sentence"])
    finally:
        replay.stop()
    assert len(heads) > 2


SPANS = st.lists(
    st.tuples(
        st.integers(1, 30),
        st.lists(st.tuples(st.sampled_from((0.0, 2.0, 14.0)), st.sampled_from((0.0, 1.5, 4.0, 7.0, 40.0))), min_size=3, max_size=3),
        st.sampled_from((True, True, True, False)),
    ),
    min_size=1, max_size=6,
)  # fmt: skip


@settings(max_examples=6, deadline=None)
@given(SPANS)
def test_no_stream_contradicts_itself_at_any_of_its_ticks(spans):
    clock = [0.0]
    live, judge = Live(LAYOUT, lambda: clock[0]), Judge(LAYOUT)
    for ticks, places, talks in spans:
        for _ in range(ticks):
            clock[0] = round(clock[0] + 0.2, 6)
            readings = (block(clock[0], places),) if talks else ()
            warned = judge.feed(*readings) if readings else judge.tick(clock[0])
            live.publish(Step(
                port="x", chunk=Chunk(data=b""), now_s=clock[0], readings=readings, warnings=tuple(warned), loads=judge.loads_if_moved()
            ))  # fmt: skip
            said = shown(live.picture())
            assert contradictions(said, PLACES) == [], (clock[0], said)


OVERLOAD = {"volts": [14.0] * 8, "amps": [8.0, 3.0, 2.0, 1.0] * 2}
DEAD = {"volts": [0.05] * 8, "amps": [0.0] * 8}
WELL = {"volts": [15.0] * 8, "amps": [1.0] * 8}
SHORTED = {"volts": [1.0] * 8, "amps": [28.0, 0.1, 0.1, 0.1] + [1.0] * 4}


def shorted(k):
    """One place of each supply after the other."""
    volts, amps = [1.0] * 4 + [15.0] * 4, [0.1] * 4 + [1.0] * 4
    amps[k // 2 % 4] = 28.0
    return {"volts": volts[:: 1 if k % 4 else -1], "amps": amps[:: 1 if k % 4 else -1]}


CLIPS = Finding(id=99, board="bench-1", channel=1, kind=FindingKind.CLIPPED, start_s=10.0, end_s=None, count=1, check="Look.")


class Scripted(Hall):
    """Eight districts on two supplies and two boards, through the real pipeline by a clock of the test's own."""

    def __init__(self):
        self.at_s = 0.0
        super().__init__(8)
        self.change(**WELL)

    def now_s(self):
        return self.at_s

    def change(self, jump_s=0.0, finding=None, seen=(), **things):
        self.at_s += jump_s
        self._scan = int(self.at_s / INTERVAL_S) if jump_s else self._scan
        for name, value in things.items():
            setattr(self, name, value)
        if finding is not None:
            self.publish(findings=(finding,))
        for number in seen:
            self.operate(Action(kind="acknowledge", at_s=self.at_s, warning_id=number))


@pytest.mark.parametrize(
    ("script", "until_s", "heads"),
    [
        pytest.param(
            {3: OVERLOAD, 16: {"talking": False}, 18: DEAD, 20: {"talking": True}, 28: WELL}, 30,
            "its protection opens .*there is no power now.*no power there now.*power is there now", id="opens while figures are late",
        ),
        pytest.param(
            {3: OVERLOAD, 9: {"silent_boards": {0}}, 30: {"silent_boards": set()}}, 32,
            "North bench is overloaded: its protection opens", id="one of two boards falls silent",
        ),
        pytest.param(
            {3: OVERLOAD, 16: DEAD, 20: OVERLOAD, 26: DEAD, 30: WELL}, 32,
            "lost power; it closes by itself.*opened . s ago; power is back.*overloaded: its protection opens.*lost power", id="recloses",
        ),
        pytest.param({3: OVERLOAD, 10: {"finding": CLIPS}, 16: WELL}, 22, "overloaded until", id="a channel clips"),
        pytest.param({3: SHORTED, 4: DEAD, 8: WELL}, 10, "Short circuit on Outer main.*after a short.*; power is back", id="a short"),
        pytest.param({3: OVERLOAD, 9: {"jump_s": 100.0}, 112: WELL}, 116, "its protection opens", id="the computer slept"),
        pytest.param(
            {**{3 + 3 * k: SHORTED for k in range(4)}, **{3.6 + 3 * k: WELL for k in range(4)}, 13: {"seen": (1, 2, 3, 4)}}, 16,
            "comes and goes; power is there now", id="comes and goes, and is seen meanwhile",
        ),
        pytest.param(
            {3 + 0.8 * k: [shorted(k), WELL][k % 2] for k in range(26)} | {25: OVERLOAD, 38: DEAD, 44: WELL, 45: {"seen": range(1, 20)}}, 50,
            "Short circuit on Turntable.*warnings in ten.*its protection opens.*A short was seen .*; no power there now.*is there now",
            id="reset by hand during a flood",
        ),
    ],
)  # fmt: skip
def test_no_script_makes_the_page_contradict_itself(script, until_s, heads):
    hall, said_of = Scripted(), [(d.name, d.supply) for d in Scripted().layout.district]
    terminal, due, told, was = TerminalLines(HostClock()), sorted(script.items()), [], 0
    terminal.standing = lambda: assess(hall.layout, hall.live.picture())
    publish, gone = hall.live.publish, []
    hall.live.publish = lambda step: (
        publish(step),
        terminal.take(step),
        gone.extend(w for w in step.warnings if w.end_s is not None),
    )
    while hall.at_s < until_s:
        while due and due[0][0] <= hall.at_s + 1e-9:
            hall.change(**due.pop(0)[1])
        hall.at_s = round(hall.at_s + 0.4, 6)
        hall.step()
        said = shown(hall.live.picture(), hall.layout)
        assert contradictions(said, said_of) == [], hall.at_s
        heard = [*[w["message"] for w in said["warnings"] if w["where"] == "many warnings"], said["headline"]["sentence"]]
        if new := [sentence for sentence in heard if sentence not in told[-2:]]:
            station, _ = in_the_hall(hall.live.picture(), hall.layout)
            assert (station["headline"], station["warnings"]) == (said["headline"], said["warnings"]), hall.at_s
        told += new
        lines = [line for line in terminal.waiting() if re.search("ACT|NO HURRY", line)]
        was += len(lines)
        both = [f"{w['word'].upper()}: {w['message']} {w['advice']}" for w in said["warnings"]]
        both += [f"{w.message} {w.advice}" for w in gone]  # over before anybody could see it
        assert all(any(line.endswith(each) for each in both) for line in lines), "\n".join(
            ["", str(hall.at_s), *lines, "--", *both]
        )
    assert was
    assert re.search(heads, " / ".join(told)), told


def block(at_s, places):
    """A fifth of a second of half cycles at 60 Hz."""
    ends = at_s - np.arange(24)[::-1] / 120
    volts, amps = (np.tile(np.array([place[k] for place in places]), (24, 1)) for k in (0, 1))
    nothing = np.full_like(volts, np.nan)
    return ReadingBlock(
        board="bench-1", districts=tuple(name for name, _ in PLACES), start_s=ends - 1 / 60, end_s=ends, volts_rms=volts, amps_rms=amps,
        volts_mean=nothing, amps_mean=nothing, watts=volts * amps, volts_peak=volts * 1.41, amps_peak=amps * 1.41,
        far_volts_rms=nothing, frequency_hz=np.full(24, 60.0),
    )  # fmt: skip
