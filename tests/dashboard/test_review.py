"""The Review page's addresses: what they give, and that nothing but sessions of the listing can be had by them."""

import csv
import io
import json
import re
import threading
import time
from datetime import timedelta
from urllib.parse import quote

import numpy as np
import pandas as pd
import pytest
from dash import dcc, html

from dashboard.app import create_app
from dashboard.session_cache import SessionCache
from dashboard.trend_job import TrendJob
from dashboard.views.attributes import hook
from dashboard.views.markup import markup
from dashboard.views.review_trends import trend_button, trend_figures, trend_picture, trend_words
from monitor.sessions import find_sessions
from monitor.sessions.figures import review
from monitor.sessions.pack import unpack
from monitor.sessions.trends import SessionTrend
from tests.browser.hall import Hall
from tests.runtime.streams import packed_stream, sine_counts
from tests.sessions.shows import BEGAN_AT, overload_stream, record
from tests.sessions.test_demo_sessions import RECORDINGS, SHIPPED

SECONDS = 9.0
PEAK_VOLTS, PEAK_AMPS = 15 * 2**0.5, 14 * 2**0.5
"""Of the sines that were sent: the square root of two times their RMS."""


@pytest.fixture(scope="module")
def recordings(tmp_path_factory):
    folder = tmp_path_factory.mktemp("recordings")
    record(folder, overload_stream(SECONDS), SECONDS, marks=[(120, "<b>bold</b> & so on")])
    record(folder, packed_stream(sine_counts(4.0)), 4.0)
    return folder


@pytest.fixture(scope="module")
def client(recordings):
    hall = Hall(4)
    hall.recordings = recordings
    return create_app(hall).server.test_client()


@pytest.fixture(scope="module")
def show(recordings):
    return max(find_sessions(recordings), key=lambda session: session.length_s())


def taken(client, session, from_s, to_s, points=1000):
    """A stretch as the page's script reads it: head, and (times, volts, times, amps) of each district."""
    answer = client.get(f"/review/stretch?session={quote(session)}&from={from_s}&to={to_s}&points={points}")
    assert answer.status_code == 200
    line, _, data = answer.data.partition(b"\n")
    head, numbers, lanes = json.loads(line), np.frombuffer(data, "<f4"), {}
    for lane in head["lanes"]:
        cut = np.cumsum([lane["volts"], lane["volts"], lane["amps"], lane["amps"]])
        lanes[lane["name"]] = np.split(numbers[: cut[-1]], cut[:-1])
        numbers = numbers[cut[-1] :]
    assert len(numbers) == 0
    return head, lanes


@pytest.mark.parametrize("points", [100, 1000])
def test_the_whole_session_loses_no_peak(client, show, points):
    head, lanes = taken(client, show.name, -1e9, 1e9, points)
    frame = pd.read_parquet(show.readings)
    outer = frame[frame.district == "Outer main"]
    _, volts, times, amps = lanes["Outer main"]
    assert head["level"] == ("rows" if head["to_s"] - head["from_s"] > 60 else "cycles")
    assert len(amps) <= points
    assert (np.diff(times) >= 0).all()
    assert amps.max() == pytest.approx(outer.amps_highest.max(), rel=1e-3)
    assert volts.max() == pytest.approx(outer.volts_highest.max(), rel=1e-3)
    assert (head["from_s"], head["to_s"]) == (0.0, pytest.approx(SECONDS, abs=0.1))


def test_closer_come_the_very_samples(client, show):
    head, lanes = taken(client, show.name, 4.0, 4.2, 4000)
    volts_s, volts, amps_s, amps = lanes["Outer main"]
    assert head["level"] == "samples"
    assert volts.max() == pytest.approx(PEAK_VOLTS, rel=0.02)
    assert amps.max() == pytest.approx(PEAK_AMPS, rel=0.02)
    # Volts and amps of one scan are converted one after the other: the wire's own skew.
    assert amps_s[5] - volts_s[5] == pytest.approx(104e-6, abs=2e-5)
    # 60 Hz: a sample and the one 20 cycles later are alike wherever the scan falls.
    assert (
        np.corrcoef(volts[:100], np.sin(2 * np.pi * 60 * (volts_s[:100] - volts_s[np.argmax(volts[:30])]) + np.pi / 2))[0, 1]
        > 0.99
    )


def test_a_stretch_asks_for_numbers(client, show):
    for wish in ("from=1&to=2", "from=nan&to=2&points=9", "from=1&to=inf&points=9", "from=a&to=b&points=c"):
        assert client.get(f"/review/stretch?session={show.name}&{wish}").status_code == 400
    head, _ = taken(client, show.name, 5.0, 1.0, -7)
    assert head["to_s"] > head["from_s"]


def test_the_sheet_says_the_figures_and_escapes_what_people_wrote(client, show):
    text = client.get(f"/review/sheet?session={show.name}").text
    for said in ("Outer main", "117 %", "Bench", "above 80 % of plate", "&lt;b&gt;bold&lt;/b&gt; &amp; so on"):
        assert said.lower() in text.lower()
    assert "<b>" not in text
    other = next(name for name in (each.id for each in SessionCache(show.path.parent).listing()) if name != show.name)
    both = client.get(f"/review/sheet?session={show.name}&beside={other}").text
    assert "Side by side" in both
    assert both.count("data-review=") == 2


def test_marks_for_the_time_line(client, show):
    marks = client.get(f"/review/marks?session={show.name}").json
    assert marks["lanes"][0] == "Outer main"
    assert [text for _, text in marks["marks"]] == ["<b>bold</b> & so on"]


@pytest.mark.parametrize("session", SHIPPED, ids=lambda session: session.name)
def test_all_that_happened_stands_on_the_time_line(session):
    hall = Hall(4)
    hall.recordings = RECORDINGS
    marks = create_app(hall).server.test_client().get(f"/review/marks?session={session.name}").json
    figures = review(session)
    assert (len(marks["events"]), len(marks["warnings"])) == (len(figures.events), len(figures.warnings))
    assert all(marks["first_s"] <= start_s <= end_s <= marks["last_s"] + 1 for _, start_s, end_s, *_ in marks["events"])
    assert (
        sum(is_fault for *_, is_fault, _word, _id in marks["events"]) == sum(event.cause.is_fault for event in figures.events) > 0
    )


@pytest.mark.parametrize("address", ["sheet", "marks", "stretch?from=0&to=1&points=9", "report", "table.csv", "pack"])
@pytest.mark.parametrize(
    "asked", ["", ".", "..", "../recordings", "/etc", "%00", "nothing", "..%2F..%2Fetc%2Fpasswd", "C:\\", "a" * 5000]
)
def test_nothing_but_the_listing_can_be_had(client, address, asked):
    assert client.get(f"/review/{address}{'&' if '?' in address else '?'}session={asked}").status_code == 404


def test_the_gate_stands_before_it(client, show):
    far = {"REMOTE_ADDR": "192.0.2.7"}
    for address in ("sheet", "marks", "report", "table.csv", "pack"):
        assert client.get(f"/review/{address}?session={show.name}", environ_base=far).status_code == 403


def test_report_table_and_packed_file(client, show, tmp_path):
    report = client.get(f"/review/report?session={show.name}")
    assert "What ran" in report.text
    assert report.headers["Content-Security-Policy"].startswith("default-src 'none'")
    table = client.get(f"/review/table.csv?session={show.name}")
    rows = list(csv.reader(io.StringIO(table.data.decode("utf-8-sig"))))
    assert len(rows) - 1 == len(pd.read_parquet(show.readings))
    packed = client.get(f"/review/pack?session={show.name}")
    assert ".session.zip" in packed.headers["Content-Disposition"]
    (tmp_path / "got.zip").write_bytes(packed.data)
    assert unpack(tmp_path / "got.zip", tmp_path).manifest() == show.manifest()


@pytest.mark.parametrize("query", ["", "?session=nothing", "?session=../..&beside=x", "?session=%00"])
def test_the_page_answers(client, query):
    assert client.get(f"/review{query}").status_code == 200


def test_without_recordings_there_is_nothing_and_no_error():
    client = create_app(Hall(4)).server.test_client()
    assert client.get("/review").status_code == 200
    assert client.get("/review/sheet?session=x").status_code == 404


def test_a_damaged_session_is_said_to_be_so(tmp_path):
    record(tmp_path, packed_stream(sine_counts(2.0)), 2.0)
    (session,) = find_sessions(tmp_path)
    (session.path / "layout.toml").write_text("title = ")
    hall = Hall(4)
    hall.recordings = tmp_path
    client = create_app(hall).server.test_client()
    answer = client.get(f"/review/sheet?session={session.name}")
    assert answer.status_code == 409
    assert "cannot be opened" in answer.text


def moment_of(client, chosen):
    """What the page is given to show for a chosen event."""
    answer = client.post(
        "/_dash-update-component",
        json={
            "output": "review-moment.children",
            "outputs": {"id": "review-moment", "property": "children"},
            "inputs": [{"id": "review-event", "property": "data", "value": chosen}],
            "changedPropIds": ["review-event.data"],
        },
    )
    assert answer.status_code == 200
    return answer.json["response"]["review-moment"]["children"]


def plot_in(told):
    """The plot that a component holds."""
    return json.loads(next(find_key(told, "data-plot")))


def find_key(part, key):
    """Every value under a key, however deep."""
    if isinstance(part, dict):
        yield from ([part[key]] if key in part else [])
        part = list(part.values())
    if isinstance(part, list):
        for each in part:
            yield from find_key(each, key)


def test_an_event_shows_its_kept_samples_with_cause_and_evidence():
    hall = Hall(4)
    hall.recordings = RECORDINGS
    client = create_app(hall).server.test_client()
    session = SHIPPED[0]
    kept = pd.read_parquet(session.snapshots)
    shown = 0
    for event in review(session).events:
        told = moment_of(client, {"session": session.name, "event": event.id})
        words = json.dumps(told)
        assert event.district in words
        assert "Figures" in words
        own = kept[(kept.event_id == event.id) & (kept.district == event.district) & (kept.quantity == "volts")]
        if len(own):
            trace = plot_in(told)["waves"][0]["lines"][-1]
            assert trace["name"] == event.district
            assert trace["values"] == pytest.approx(own.iloc[0]["values"].tolist(), abs=1e-3)
            shown += 1
    assert shown >= 5


@pytest.mark.parametrize(
    ("chosen", "words"),
    [
        (None, "Choose what happened"),
        ([1, 2], "Choose what happened"),
        ({"session": "../x", "event": 1}, "cannot be read"),
        ({"session": SHIPPED[0].name, "event": 10**9}, "no such event"),
        ({"session": SHIPPED[0].name, "event": {"a": 1}}, "no such event"),
    ],
)
def test_what_is_no_event_shows_words(chosen, words):
    hall = Hall(4)
    hall.recordings = RECORDINGS
    assert words in json.dumps(moment_of(create_app(hall).server.test_client(), chosen))


def test_a_session_that_is_being_recorded_is_shown_up_to_now(tmp_path):
    recorder, _ = record(tmp_path, overload_stream(SECONDS), SECONDS, close=False)
    hall = Hall(4)
    hall.recordings = tmp_path
    client = create_app(hall).server.test_client()
    ends_s = time.monotonic() + 60
    name = ""
    while not name or not (marks := client.get(f"/review/marks?session={name}").json) or marks["last_s"] < SECONDS - 1.0:
        assert time.monotonic() < ends_s
        name = next((session.name for session in find_sessions(tmp_path)), "")
        time.sleep(0.1)
    assert marks["recording"]
    text = client.get(f"/review/sheet?session={name}").text
    assert re.search(r"Being recorded\. Shown up to \d\d:\d\d:\d\d \(0:00:0[89]\)", text)
    assert "Not all of it is there" not in text
    _, lanes = taken(client, name, 0, SECONDS)
    assert lanes["Outer main"][3].max() == pytest.approx(14, rel=0.03)
    recorder.close()
    assert not client.get(f"/review/marks?session={name}").json["recording"]
    assert "Being recorded" not in client.get(f"/review/sheet?session={name}").text


class _HeldFigures:
    """Figures of sessions, once they are let go."""

    def __init__(self, cache):
        self.cache, self.reached, self.go = cache, threading.Event(), threading.Event()

    def __call__(self, listed):
        self.reached.set()
        assert self.go.wait(60)
        return review(listed.session)


def test_trends_show_progress_and_can_be_stopped(recordings):
    cache = SessionCache(recordings)
    held = _HeldFigures(cache)
    job, sessions = TrendJob(held), cache.listing()
    assert job.state(sessions).state == "idle"
    job.start(sessions)
    assert held.reached.wait(60)
    assert (job.state(sessions).state, job.state(sessions).total) == ("working", 2)
    assert trend_button(job.state(sessions)) == "Stop"
    assert "0 of 2 sessions" in markup(trend_words(job.state(sessions), "Fernhollow"))
    job.stop()
    assert trend_button(job.state(sessions)) == "Stopping …"
    held.go.set()
    job.join(60)
    assert (job.state(sessions).state, job.state(sessions).done) == ("stopped", 1)
    job.start(sessions)
    job.join(60)
    state = job.state(sessions)
    assert (state.state, state.done) == ("done", 2)
    assert trend_button(state) == ""
    text = markup(trend_figures(state))
    assert "VA highest second" in text
    assert "data:image/svg+xml;base64," in text


def test_names_of_many_lines_stand_apart_and_within_the_picture():
    begun = [BEGAN_AT, BEGAN_AT + timedelta(days=1)]
    found = [
        SessionTrend(figure="stalls", where=f"District {k}", points=tuple((at, 5.0 + k / 100) for at in begun)) for k in range(6)
    ]
    heights = [float(y) for y in re.findall(r'<text x="\d+" y="(\d+)" text-anchor="end">District', trend_picture(found))]
    assert len(heights) == 6
    assert min(np.diff(sorted(heights))) >= 14
    assert min(heights) >= 15
    assert max(heights) <= 190 - 26


def test_markup_escapes_and_knows_its_own_kind():
    part = html.Div([html.P('<i>"'), None, 3, html.Br()], className="a", hidden=True, **hook(what='"x"'))
    assert markup(part) == '<div class="a" hidden data-what="&quot;x&quot;"><p>&lt;i&gt;&quot;</p>3<br></div>'
    with pytest.raises(TypeError, match="no plain form"):
        markup(dcc.Link("there", href="/"))
