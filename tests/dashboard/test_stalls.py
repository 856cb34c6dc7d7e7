"""The Stalls page's views as functions, its addresses, and the files it gives."""

import io
import json
import zipfile

import comtrade
import numpy as np
import pytest

from dashboard.app import create_app
from dashboard.views.lap_ring import lap_ring
from dashboard.views.stall_moment import moment_figure
from dashboard.views.stall_words import TRY, WHAT, evidence_rows, how_sure, pattern_sentence
from dashboard.views.stalls import chosen_event, moment, occurrences, places, rate_change
from monitor.runtime import Picture
from monitor.values import Action, Cause, Event, Pattern, Snapshot, SnapshotChannel
from tests.browser.hall import Hall

LOST = Event(
    id=3, district="Outer main", cause=Cause.LOST_CONTACT, start_s=20.0, end_s=20.2, confidence=0.95,
    evidence={"amps_before": 2.0, "amps_lowest": 0.4, "volts_before": 14.0},
)  # fmt: skip
WHISTLE = Event(id=4, district="Inner main", cause=Cause.DC_SIGNAL, start_s=25.0, end_s=26.0, confidence=0.97)
SPOT = Pattern(
    verdict="fixed-spot", districts=("Outer main",), events=9, lap_s=17.0, lap_fraction=0.25, p_value=1e-6, start_s=20.0
)


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
    assert set(WHAT) == set(TRY) == set(Cause)
    assert all(TRY[cause] for cause in Cause if cause.is_fault)


def test_the_newest_fault_is_opened_unless_another_is_chosen():
    assert chosen_event(picture(), None) == LOST
    assert chosen_event(picture(), 4) == WHISTLE
    assert chosen_event(picture(), 99) is None
    assert chosen_event(picture(events=()), None) is None


def test_the_list_tells_faults_from_what_was_meant():
    text = words(occurrences(picture(), LOST))
    assert text.index("whistle or bell") < text.index("lost contact")
    assert '"deliberate"' in text
    assert "/stalls?event=3" in text


def test_the_moment_shows_marks_figures_and_advice():
    text = words(moment(LOST, snapshot(), 60.0))
    for expected in ("A train lost contact", "Clean the rails", "0.40 A", "sure (95%)", "event-3/comtrade", "Grey: Inner main"):
        assert expected in text


def test_a_moment_without_samples_says_so():
    assert "There are no samples" in words(moment(LOST, None, 60.0))


def test_the_plot_has_the_span_the_usual_and_the_district_on_top():
    figure = moment_figure(snapshot(), LOST)
    shade, *usual = figure["layout"]["shapes"]
    assert (shade["x0"], shade["x1"]) == (0, pytest.approx(0.2))
    # The peak of a sine is the square root of two times its RMS.
    assert sorted(line["y0"] for line in usual if line["yref"] == "y") == pytest.approx([-14 * 2**0.5, 14 * 2**0.5])
    assert figure["data"][-1]["name"] == "Outer main, volts"
    assert figure["data"][-1]["y"][100] is None
    assert figure["data"][-1]["x"][0] == pytest.approx(-0.3)


def test_the_ring_turns_once_a_lap():
    ring = lap_ring([SPOT], [LOST, WHISTLE])
    dots = next(trace for trace in ring["data"] if trace.get("text"))
    assert dots["theta"] == [pytest.approx(360 * (20.0 / 17.0 - 1), abs=0.01)]
    assert any(trace["theta"] == [90.0] for trace in ring["data"])


def test_places_say_their_evidence():
    text = words(places(picture()))
    assert "9 events fall at one place, 2.5 tenths of a lap on (one lap takes 17.0 s)" in text
    assert "less than once in ten thousand" in text
    assert "no one place" in pattern_sentence(Pattern(
        verdict="scattered", districts=("Outer main",), events=9, lap_s=None, lap_fraction=None, p_value=None, start_s=0.0,
    ))  # fmt: skip


def test_a_place_counts_from_where_the_train_was_seen_to_pass():
    mark = Action(kind="mark", at_s=17.0 * 2.15, district="Outer main", text="passes the station")
    assert '1.0 tenths of a lap after "passes the station"' in pattern_sentence(SPOT, [mark])
    elsewhere = Action(kind="mark", at_s=17.0 * 2.15, district="Inner main", text="passes the station")
    assert "tenths of a lap on" in pattern_sentence(SPOT, [elsewhere])


def lost_at(at_s, number):
    return Event(id=number, district="Outer main", cause=Cause.LOST_CONTACT, start_s=at_s, end_s=at_s + 0.1, confidence=0.9)


def test_rates_before_and_since_a_remark():
    events = [lost_at(10.0 * k, k + 1) for k in range(30)]
    mark = Action(kind="mark", at_s=300.0, district="Outer main", text="cleaned rails")
    change = rate_change(mark, picture(events=events, marks=[mark], now_s=600.0))
    assert (change.before, change.after) == (30, 0)
    assert change.p_value < 1e-6
    elsewhere = Action(kind="mark", at_s=300.0, district="Inner main", text="cleaned rails")
    assert rate_change(elsewhere, picture(events=events, now_s=600.0)).before == 0
    assert rate_change(mark, picture(events=events, now_s=310.0)) is None


def test_words_for_confidence_and_figures():
    assert [how_sure(value).split(" (")[0] for value in (0.97, 0.9, 0.75, 0.5)] == ["sure", "quite sure", "likely", "a guess"]
    assert evidence_rows(LOST)[0] == ("Amps before", "2.00 A")


@pytest.fixture
def client():
    hall = Hall(4)
    hall.began -= 60
    hall.publish(events=(LOST, WHISTLE), snapshots=(snapshot(),), patterns=(SPOT,))
    return create_app(hall).server.test_client()


@pytest.mark.parametrize("path", ["/stalls", "/stalls?event=3", "/stalls?event=rubbish", "/stalls?event=99999999999999999999"])
def test_the_page_answers(client, path):
    assert client.get(path).status_code == 200


def test_files_of_a_moment(client, tmp_path):
    text = client.get("/stalls/event-3/csv").data.decode("utf-8-sig")
    assert text.startswith("time from its beginning (s),volts of Outer main (V)")
    for form in ("comtrade", "comtrade-ascii"):
        answer = client.get(f"/stalls/event-3/{form}")
        assert "attachment" in answer.headers["Content-Disposition"]
        zipfile.ZipFile(io.BytesIO(answer.data)).extractall(tmp_path)
        record = comtrade.Comtrade()
        record.load(*(str(tmp_path / f"event-0003_lost-contact_outer-main.{part}") for part in ("cfg", "dat")))
        assert (record.analog_count, record.total_samples) == (4, 500)
        assert record.trigger_time == pytest.approx(20.0 - 19.7, abs=2e-6)
    assert client.get("/stalls/event-4/csv").status_code == 404
    assert client.get("/stalls/event-3/exe").status_code == 404
