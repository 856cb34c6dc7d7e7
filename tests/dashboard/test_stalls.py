"""The Stalls page's views as functions, its addresses, and the files it gives."""

import io
import json
import math
import re
import zipfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import comtrade
import numpy as np
import pytest

from dashboard.app import create_app
from dashboard.views.lap_ring import lap_ring, ring_dots
from dashboard.views.plots import moment_plot, rms_course
from dashboard.views.stall_effects import against_earlier, effects
from dashboard.views.stall_list import opened_event, stall_list
from dashboard.views.stall_words import WHAT, evidence_rows, how_sure, pattern_sentence, steps_to_try, what
from dashboard.views.stalls import moment, places
from dashboard.worker_pool import BusyError, WorkerPool
from monitor.runtime.picture import Picture
from monitor.sessions.remedies import REMEDIES
from monitor.sessions.runs import Run, SessionFault
from monitor.values import Action, BoardSeen, Cause, Channel, Event, Identity, Pattern, SlowFigure, Snapshot, SnapshotChannel
from tests.browser.hall import Hall, hall_layout
from tests.dashboard.test_before import page_of
from tests.sessions.test_demo_sessions import RECORDINGS, SHIPPED

BEGAN_AT = datetime(2026, 11, 25, 10, 0, tzinfo=UTC).astimezone()

LOST = Event(
    id=3, district="Outer main", cause=Cause.LOST_CONTACT, start_s=20.0, end_s=20.2, confidence=0.95,
    evidence={"amps_before": 2.0, "amps_lowest": 0.4, "volts_before": 14.0},
)  # fmt: skip
WHISTLE = Event(id=4, district="Inner main", cause=Cause.DC_SIGNAL, start_s=25.0, end_s=26.0, confidence=0.97)
SPOT = Pattern(
    verdict="fixed-spot", districts=("Outer main",), events=9, lap_s=17.0, lap_fraction=0.25, p_value=1e-6, start_s=20.0,
    phases=((3.0, 0.31), (20.0, 0.24)),
)  # fmt: skip


def picture(events=(WHISTLE, LOST), marks=(), patterns=(SPOT,), now_s=60.0):
    return Picture(
        now_s=now_s, districts=(), events=tuple(events), marks=tuple(marks), patterns=tuple(patterns), boards={}, healths={}
    )


def snapshot(event_id=3):
    channels = tuple(
        SnapshotChannel(district=name, quantity=quantity, skew_s=0.0)
        for name in ("Outer main", "Inner main")
        for quantity in "VA"
    )
    values = np.ones((500, 4), dtype=np.float32)
    values[100:110] = np.nan
    return Snapshot(event_id=event_id, board="bench-1", start_s=19.7, interval_s=0.001, channels=channels, values=values)


def words(component):
    return json.dumps(component, default=lambda part: part.to_plotly_json())


def test_every_cause_has_its_words_and_every_fault_its_advice():
    assert set(WHAT) == set(REMEDIES) == set(Cause)
    assert all(REMEDIES[cause] for cause in Cause if cause.is_fault)


def test_amps_that_stand_still_are_a_stall_or_something_switched_on():
    labours = replace(LOST, cause=Cause.BINDING, evidence={"amps_during": 3.0})
    assert "laboured" in what(labours)
    assert "or something was switched on" in what(replace(labours, evidence={"waver_share": 0.3}))


def test_the_newest_fault_is_opened_unless_another_is_chosen():
    assert opened_event(picture()) == LOST
    assert opened_event(picture(), 4) == WHISTLE
    assert opened_event(picture(), 99) is None
    assert opened_event(picture(events=())) is None


def test_the_list_tells_faults_from_what_was_meant():
    told = stall_list(picture(), lambda at_s: BEGAN_AT + timedelta(seconds=at_s), is_live=True)
    assert [(row["id"], row["fault"], row["what"]) for row in told["rows"]] == [
        (4, False, "whistle or bell"),
        (3, True, "lost contact"),
    ]
    assert told["rows"][1]["at"] == "10:00:20"
    assert (told["rows"][1]["ago_s"], told["opened"]) == (40.0, 3)
    assert stall_list(picture(), lambda _at_s: None, is_live=False)["rows"][0]["ago_s"] is None


def test_the_moment_shows_marks_figures_and_advice():
    text = words(moment(LOST, snapshot(), picture(), BEGAN_AT, "2026-11-25", hall_layout()))
    for expected in (
        "A train lost contact",
        "then clean the rails",
        "0.40 A",
        "sure (95 %)",
        "in the background: Inner main",
        "25 November",
    ):
        assert expected in text
    assert "/stalls/event-3/comtrade?session=2026-11-25" in text


def test_what_else_is_known_comes_first_among_what_to_try():
    plain = steps_to_try(LOST, [], [], hall_layout())
    follows = Pattern(
        verdict="follows-train",
        districts=("Outer main", "Inner main"),
        events=9,
        lap_s=17.0,
        lap_fraction=None,
        p_value=1e-4,
        start_s=0.0,
    )
    assert "look at its pickups" in steps_to_try(LOST, [follows], [], hall_layout())[0]
    assert plain[0].startswith("Turn the district off, then clean the rails")
    opened = replace(LOST, cause=Cause.PROTECTION_OPEN, district="Inner main", start_s=20.3, end_s=30.0)
    short = replace(LOST, cause=Cause.SHORT)
    assert steps_to_try(opened, [], [short], hall_layout())[0].startswith("Look for a short")
    assert steps_to_try(opened, [], [replace(short, start_s=3.0, end_s=3.2)], hall_layout())[0].startswith("Take some load")


def test_a_moment_without_samples_says_so():
    assert "It has been going on for 40 s." in words(moment(replace(LOST, end_s=None), None, picture(), None, "", hall_layout()))
    assert "No samples of this moment" in words(moment(LOST, None, picture(), None, "", hall_layout()))


def test_the_plot_has_the_span_the_usual_and_the_district_on_top():
    whole = np.vstack([snapshot().values, np.ones((300, 4), dtype=np.float32)])
    drawn = moment_plot(replace(snapshot(), values=whole), LOST, 60.0)
    assert drawn["shade"] == [0, pytest.approx(0.2)]
    assert [words for _, words in drawn["notes"]] == ["began", "ended"]
    long = moment_plot(snapshot(), replace(LOST, end_s=32.0), 60.0)
    assert [words for _, words in long["notes"]] == ["began", "ended after 12 s →"]
    # The peak of a sine is the square root of two times its RMS.
    assert [drawn[form][0]["usual"] for form in ("axes", "waves")] == pytest.approx([14, 14 * 2**0.5], abs=1e-3)
    own = drawn["waves"][0]["lines"][-1]
    assert (own["kind"], own["name"]) == ("volts", "Outer main")
    assert own["values"][100] is None
    assert own["at"][0] == pytest.approx(-0.3)


def test_the_course_is_the_rms_of_a_cycle():
    # Of a sine, its peak over the square root of two (IEC 60050-103, effective value); of a constant, itself.
    sine = 20.0 * np.sin(2 * np.pi * np.arange(1000) / 50)
    assert rms_course(sine, 50)[100:900] == pytest.approx(20 / 2**0.5, rel=1e-6)
    assert rms_course(np.full(100, -3.0), 20)[20:80] == pytest.approx(3.0)
    sine[400:450] = np.nan
    assert np.isnan(rms_course(sine, 50)[425])


def test_a_very_long_moment_keeps_its_peaks():
    values = np.zeros((20_000, 4), dtype=np.float32)
    values[7777] = 9.0
    trace = moment_plot(replace(snapshot(), values=values), LOST, 60.0)["waves"][0]["lines"][-1]
    assert max(trace["values"]) == 9.0
    assert len(trace["values"]) <= 4000


def test_the_ring_turns_once_a_lap_and_has_a_dot_where_the_diagnosis_saw_the_train():
    drawn = lap_ring([replace(SPOT, spread=0.05)], [LOST, WHISTLE])
    dots = re.findall(r'cx="(-?[\d.]+)" cy="(-?[\d.]+)" r="6"><title>([^<]*)', drawn)
    places = [(math.atan2(float(x), -float(y)) / (2 * math.pi) % 1, words) for x, y, words in dots]
    assert places == [
        (pytest.approx(0.31, abs=1e-3), "Outer main, earlier"),
        (pytest.approx(0.24, abs=1e-3), "Outer main, lost contact"),
    ]
    ends = re.search(r'<path d="M(-?[\d.]+) (-?[\d.]+) A.* (-?[\d.]+) (-?[\d.]+)"/>', drawn).groups()
    turns = [math.atan2(float(x), -float(y)) / (2 * math.pi) % 1 for x, y in (ends[:2], ends[2:])]
    assert turns == pytest.approx([0.20, 0.30], abs=2e-3)


def test_districts_that_share_a_train_have_a_ring_each():
    shared = Pattern(
        verdict="follows-train", districts=("Outer main", "Inner main"), events=9, lap_s=17.0, lap_fraction=None, p_value=1e-4, start_s=0.0,
        phases=((20.0, 0.24), (25.0, 0.6), (31.0, 0.9)),
    )  # fmt: skip
    own = [replace(LOST, id=7), replace(WHISTLE, id=8, cause=Cause.LOST_CONTACT)]
    assert ring_dots("Outer main", shared, own) == [(0.24, "lost contact")]
    assert ring_dots("Inner main", shared, own) == [(0.6, "lost contact")]
    assert lap_ring([shared], own).count('class="lap"') == 2
    assert "From the inside out: Outer main, Inner main" in words(places(picture(events=own, patterns=[shared])))


def test_places_say_their_evidence():
    text = words(places(picture()))
    assert "9 events fall at one place, 2.5 tenths of a lap on (one lap takes 17.0 s)" in text
    assert "less than once in ten thousand" in text
    spread = replace(SPOT, spread=0.04, there=27, latest=30)
    assert "27 of the last 30 events fall at one place, 2.5 tenths of a lap on, give or take 0.4, (one lap" in pattern_sentence(
        spread
    )
    bridged = pattern_sentence(replace(SPOT, causes=(Cause.SHORT,)))
    assert "a wheel can bridge" in bridged
    assert "Clean" not in bridged
    assert "no one place" in pattern_sentence(Pattern(
        verdict="scattered", districts=("Outer main",), events=9, lap_s=None, lap_fraction=None, p_value=None, start_s=0.0,
    ))  # fmt: skip


def test_a_place_counts_from_where_the_train_was_seen_to_pass():
    marked = replace(SPOT, landmarks=(("passes the yard", 0.1), ("passes the station", 0.74)))
    assert '5.1 tenths of a lap after "passes the station"' in pattern_sentence(marked)
    assert "tenths of a lap on" in pattern_sentence(SPOT)


def lost_at(at_s, number):
    return Event(id=number, district="Outer main", cause=Cause.LOST_CONTACT, start_s=at_s, end_s=at_s + 0.1, confidence=0.9)


def test_remarks_of_earlier_sessions_stay_with_what_came_of_them():
    faults = tuple(SessionFault(district="Outer main", start_s=10.0 * k) for k in range(30))
    mark = Action(kind="mark", at_s=300.0, district="Outer main", text="cleaned rails")
    last = Run(began_at=BEGAN_AT, first_s=0.0, ended_s=310.0, faults=faults, marks=(mark,))
    now = Run(began_at=BEGAN_AT + timedelta(days=1), first_s=0.0, ended_s=600.0)
    text = words(effects(now, [last]))
    assert "cleaned rails (Outer main), 25 November, 10:05" in text
    assert "30 in 5 min before (360 an hour), 0 in 10 min since (0 an hour). Rarer than chance explains" in text
    assert "Write down what you did" in words(effects(now, []))


def test_figures_against_the_last_session_in_words():
    def run(ohms, day):
        figure = SlowFigure(kind="loop-ohms", name="Outer main", value=ohms, reference=None, spread=0.01, count=9, at_s=60.0)
        return Run(began_at=BEGAN_AT + timedelta(days=day), first_s=0.0, ended_s=600.0, figures=(figure,))

    text = words(against_earlier(run(0.71, 1), [run(0.42, 0)]))
    assert "Outer main's loop was 0.42 ohm last time (25 November, 10:00), 0.71 now" in text
    assert "That is 69 % more, and beyond what it scatters" in text
    assert "As it was" in words(against_earlier(run(0.43, 1), [run(0.42, 0)]))
    assert "no earlier session" in words(against_earlier(run(0.43, 1), []))


def test_words_for_confidence_and_figures():
    assert [how_sure(value).split(" (")[0] for value in (0.97, 0.9, 0.75, 0.5)] == ["sure", "quite sure", "likely", "a guess"]
    assert evidence_rows(LOST)[0] == ("Amps before", "2.00 A")


@pytest.fixture
def client():
    hall = Hall(4)
    hall.began -= 60
    hall.publish(events=(LOST, WHISTLE), snapshots=(snapshot(),), patterns=(SPOT,))
    return create_app(hall).server.test_client()


@pytest.mark.parametrize(
    "path",
    [
        "/stalls",
        "/stalls?event=3",
        "/stalls?event=rubbish",
        "/stalls?event=99999999999999999999",
        "/stalls?session=../../etc",
        "/stalls/list",
    ],
)
def test_the_page_answers(client, path):
    assert client.get(path).status_code == 200


def test_files_of_a_moment(client, tmp_path):
    text = client.get("/stalls/event-3/csv").data.decode("utf-8-sig")
    assert text.startswith("time from its beginning (s),volts of Inner main (V),amps of Inner main (A),volts of Outer main (V)")
    for form in ("comtrade", "comtrade-ascii"):
        answer = client.get(f"/stalls/event-3/{form}")
        assert "attachment" in answer.headers["Content-Disposition"]
        zipfile.ZipFile(io.BytesIO(answer.data)).extractall(tmp_path)
        record = comtrade.Comtrade()
        record.load(*(str(tmp_path / f"event-0003_lost-contact_outer-main.{part}") for part in ("cfg", "dat")))
        assert (record.analog_count, record.total_samples) == (4, 500)
        assert record.trigger_time == pytest.approx(20.0 - 19.7, abs=2e-6)
    assert client.get("/stalls/event-4/csv").status_code == 404
    assert client.get("/stalls/event-3/csv?session=none").status_code == 404
    assert client.get("/stalls/list?session=../../etc").status_code == 404
    assert client.get("/stalls/event-3/exe").status_code == 404


def test_a_board_of_few_readings_says_what_it_cannot_show():
    channels = (Channel(quantity="V", skew_s=0.0, units_per_count=1.0, zero_counts=0.0),)
    lines = Identity(number=0, name="sketch", scan_interval_s=0.2, channels=channels, form="lines")
    waves = Identity(number=1, name="bench-1", scan_interval_s=0.0005, channels=channels)
    boards = {seen.name: BoardSeen(board=seen.name, identity=seen) for seen in (lines, waves)}
    text = words(places(replace(picture(), boards=boards)))
    assert "sketch sends 5 readings a second" in text
    assert "cannot show: lost contact, short circuit, feed is lost" in text
    assert "bench-1 sends" not in text


@pytest.fixture
def reader():
    """The pages of a watch with the sessions that come with the program."""
    hall = Hall(4)
    hall.recordings = RECORDINGS
    return create_app(hall).server.test_client()


def asked_of_page(client, output, session):
    """The answer to a callback as a browser asks for it, every input at its first value."""
    callback = next(each for each in client.get("/_dash-dependencies").json if output in each["output"])
    values = {"stall-session": session}
    inputs, state = ([{**each, "value": values.get(each["id"])} for each in callback[kind]] for kind in ("inputs", "state"))
    outputs = [dict(zip(("id", "property"), each.split("."), strict=True)) for each in callback["output"].strip(".").split("...")]
    asked = {"output": callback["output"], "outputs": outputs, "inputs": inputs, "state": state, "changedPropIds": []}
    return client.post("/_dash-update-component", json=asked)


def test_a_recorded_session_is_read_by_workers_alone(reader, monkeypatch):
    waves, _, latest = SHIPPED
    events = {row["id"]: row for row in map(json.loads, waves.notices("events").read_text().splitlines())}

    def never(*_args):
        raise AssertionError("the process of the pages reads a session")

    for name in ("dashboard.stall_source.read_notices", "monitor.sessions.runs.read_notices", "monitor.sessions.snapshot_log.read_part",
                 "dashboard.stall_source.moment_files", "dashboard.views.stalls.moment_plot"):  # fmt: skip
        monkeypatch.setattr(name, never)
    told = reader.get(f"/stalls/list?session={waves.name}").json
    assert {row["id"] for row in told["rows"]} == set(events)
    assert f"event-{told['opened']}/csv" in json.dumps(asked_of_page(reader, "stall-moment.children", waves.name).json)
    answer = reader.get(f"/stalls/event-{told['opened']}/csv?session={waves.name}")
    assert answer.data.decode("utf-8-sig").startswith("time from its beginning (s)")
    assert "no earlier session" not in asked_of_page(reader, "stall-earlier.children", latest.name).text


def test_beyond_what_workers_take_it_is_refused_politely(client, reader, monkeypatch):
    def refuse(*_args):
        raise BusyError("Too much is being worked at just now: try again in a minute.")

    monkeypatch.setattr(WorkerPool, "run", refuse)
    for answer in (client.get("/stalls/event-3/csv"), reader.get(f"/stalls/list?session={SHIPPED[0].name}")):
        assert answer.status_code == 503
        assert "try again in a minute" in answer.text
    assert "try again in a minute" in page_of(reader, "/stalls", f"?session={SHIPPED[0].name}")
    # What the page shows stays as it is until its next tick.
    assert asked_of_page(reader, "stall-moment.children", SHIPPED[0].name).status_code == 204
    # A moment of the running watch needs no session read: what is refused there is drawing it.
    assert asked_of_page(client, "stall-moment.children", "").status_code == 204
