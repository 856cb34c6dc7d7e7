"""Would that breaker have opened? Against the points that a layout gives of its breaker, and against a recording that opened."""

import itertools
import json

import numpy as np
import pandas as pd
import pytest

from monitor.cli.main import main
from monitor.layout import parse_layout
from monitor.protection import Asked
from monitor.runtime import Pipeline
from monitor.runtime.would_open import Opening, Verdict, WouldOpen, openings, openings_of
from monitor.values import Cause, Chunk, Event
from tests.runtime.streams import packed_stream, sine_counts
from tests.sessions.shows import LAYOUT_TEXT, PORT
from tests.sessions.test_demo_sessions import SHIPPED

CALM_S, HEAVY_S, HEAVY_AMPS = 4.0, 50.0, 12.0


@pytest.fixture(scope="module")
def heavy_bytes():
    """A calm beginning, then 12 A on one output."""
    calm = sine_counts(CALM_S, amps_rms=(1.0, 1.0))
    return packed_stream(np.concatenate([calm, sine_counts(HEAVY_S, amps_rms=(HEAVY_AMPS, 1.0), start_s=CALM_S)]))


def judged(data, text, opened=()):
    layout = parse_layout(text)
    pipeline, would = Pipeline(layout, asked=Asked(would_open=True)), WouldOpen(layout, {"North bench": opened})
    size = len(data) // 60 + 1
    for at in range(0, len(data), size):
        would.take(pipeline.feed(PORT, Chunk(data=data[at : at + size])))
    would.take(pipeline.finish(PORT))
    return [verdict for verdict in would.verdicts() if verdict.supply == "North bench"]


def breaker(rated_amps):
    """The same layout with another rating; its points are multiples of that."""
    assert "rated_amps = 10\n" in LAYOUT_TEXT
    return LAYOUT_TEXT.replace("rated_amps = 10\n", f"rated_amps = {rated_amps}\n")


def test_one_that_is_too_small_opens_when_its_own_points_say(heavy_bytes):
    # 12 A is twice 6 A: 40 s from cold by the points; from what the calm seconds left it takes somewhat less.
    (verdict,) = judged(heavy_bytes, breaker(6.0))
    assert verdict.opens
    assert verdict.recorded_s is None
    assert 25 <= verdict.at_s - CALM_S <= 42
    assert "would have opened here" in verdict.sentence


def test_one_that_is_large_enough_holds(heavy_bytes):
    (verdict,) = judged(heavy_bytes, breaker(16.0))
    assert verdict.at_s is None
    assert verdict.heat < 0.9
    assert "would have held" in verdict.sentence


def test_against_a_recording_that_opened(heavy_bytes):
    (held,) = judged(heavy_bytes, breaker(16.0), [Opening(at_s=30.0, after_short=False)])
    assert (held.opens, held.recorded_s) == (False, 30.0)
    assert "this protection would have held" in held.sentence
    (short,) = judged(heavy_bytes, breaker(16.0), [Opening(at_s=30.0, after_short=True)])
    assert "a short may open it at once" in short.sentence
    (both,) = judged(heavy_bytes, breaker(6.0), [Opening(at_s=48.0, after_short=False)])
    assert (both.opens, both.recorded_s) == (True, 48.0)
    assert "would have opened here" in both.sentence
    assert both.sentence.endswith(f"in the recording it opened {48 - both.at_s:.0f} s later.")


def test_openings_count_once_a_supply():
    """Every district of a supply tells of an opening; the rehearsal's breaker opens once a supply."""
    found = openings(SHIPPED[0])
    assert [round(opening.at_s) for opening in found["North bench"]] == [63]
    assert not found["North bench"][0].after_short
    assert all(later.at_s - one.at_s > 1 for each in openings(SHIPPED[1]).values() for one, later in itertools.pairwise(each))


def test_openings_of_events():
    """One a supply, though each district tells of it; after a short where one came within three seconds before."""

    def event(number, cause, start_s, district="Outer main"):
        return Event(id=number, cause=cause, district=district, start_s=start_s, end_s=None, confidence=0.9)

    told = [
        event(1, Cause.PROTECTION_OPEN, 10.0),
        event(2, Cause.PROTECTION_OPEN, 10.2, "Inner main"),
        event(3, Cause.SHORT, 20.0),
        event(4, Cause.PROTECTION_OPEN, 21.0),
        event(5, Cause.SHORT, 30.0),
        event(6, Cause.PROTECTION_OPEN, 34.0),
        event(7, Cause.SHORT, 41.0),
        event(8, Cause.PROTECTION_OPEN, 40.0),
    ]
    found = openings_of(parse_layout(LAYOUT_TEXT), told)["North bench"]
    assert [(each.at_s, each.after_short) for each in found] == [(10.0, False), (21.0, True), (34.0, False), (40.0, False)]


def verdict(**fields):
    given = {"supply": "North bench", "at_s": 40.0, "opens": True, "recorded_s": None, "share": 1.0, "heat": 1.0}
    return Verdict(**{**given, **fields})


@pytest.mark.parametrize(
    ("fields", "confidence", "tells", "words"),
    [
        ({}, "sure", True, "would have opened here; in the recording it did not."),
        ({"recorded_s": 41.0}, "sure", True, "would have opened here; in the recording it opened here too."),
        ({"recorded_s": 64.0, "share": 0.7}, "close", True, "but it was close; in the recording it opened 24 s later."),
        (
            {"at_s": None, "opens": False, "share": 0.0, "heat": 0.4},
            "sure",
            False,
            "held: it came to 40 % of what opens it at most.",
        ),
        ({"opens": False, "recorded_s": 40.0, "share": 0.3, "heat": 0.97}, "close", True, "too close to tell"),
        ({"opens": False, "recorded_s": 40.0, "share": 0.1, "heat": 0.9}, "close", False, "too close to tell"),
        ({"opens": False, "recorded_s": 40.0, "share": 0.0, "heat": 0.5}, "sure", False, "it opened here in the recording; this"),
        (
            {"opens": False, "recorded_s": 40.0, "share": 0.5, "heat": 0.5, "after_short": True},
            "close",
            False,
            "a short may open it at once",
        ),
    ],
)
def test_answers_in_words(fields, confidence, tells, words):
    found = verdict(**fields)
    assert (found.confidence, found.tells_opening) == (confidence, tells)
    assert words in found.sentence


RATED = "rated_amps = 8\n"


def session_amps(session):
    """Time and amps of North bench as the session stored them, by pandas."""
    rows = pd.concat([pd.read_parquet(path) for path in sorted(session.readings.glob("*.parquet"))])
    rows = rows[rows["district"].isin(["Outer main", "Inner main"])].drop_duplicates(["time", "district"])
    amps = rows.pivot_table(index="time", columns="district", values="amps_rms", observed=True).sum(axis=1).sort_index()
    return (amps.index - amps.index[0]).total_seconds().to_numpy(), amps.to_numpy()


def opens_by_hand(session, rated_amps):
    """One time constant of 42 s that holds 1.1 times its rating gives all four points of the layout file (worked by hand)."""
    times, amps = session_amps(session)
    hold, is_open, found = 1.1 * rated_amps, False, []
    heat = min(0.6, (amps[0] / hold) ** 2)
    for at_s, before_s, drawn in zip(times[1:], times, amps, strict=False):
        end = 0.0 if is_open else (drawn / hold) ** 2
        heat = end + (heat - end) * np.exp(-(at_s - before_s) / 42)
        is_open = is_open and drawn > 0.95 * hold
        if heat >= 1 and not is_open:
            found.append(at_s)
            is_open = True
    return found


@pytest.fixture(scope="module")
def smaller(tmp_path_factory):
    """The layout of a shipped session with a smaller breaker on North bench."""
    text = (SHIPPED[1].path / "layout.toml").read_text(encoding="utf-8")
    assert RATED in text
    path = tmp_path_factory.mktemp("smaller") / "six.toml"
    path.write_text(text.replace(RATED, "rated_amps = 6\n"), encoding="utf-8")
    return path


def test_sift_answers_for_another_layout_as_worked_by_hand(smaller, capsys):
    """Its own openings do not follow where the recorded one opened."""
    assert main(["sift", str(SHIPPED[1].path), "--layout", str(smaller), "--json"]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    found = [line for line in lines if line["kind"] == "would-open" and line["supply"] == "North bench"]
    assert [line["at_s"] for line in found] == pytest.approx(opens_by_hand(SHIPPED[1], 6), abs=0.8)
    assert len(found) == 2
    assert all(line["in_recording"] and line["confidence"] == "sure" for line in found)
    assert all(line["recorded_s"] - line["at_s"] > 15 for line in found)


def test_sift_of_a_session_by_its_own_layout_answers_only_where_asked(capsys):
    assert main(["sift", str(SHIPPED[1].path), "--json"]) == 0
    assert "would-open" not in capsys.readouterr().out
    assert main(["sift", str(SHIPPED[1].path), "--would-open"]) == 0
    assert "North bench: it opened here in the recording" in capsys.readouterr().out


def test_a_report_by_another_layout_says_so_and_what_that_would_have_done(smaller, tmp_path):
    page = tmp_path / "report.html"
    assert main(["report", str(SHIPPED[1].path), "--layout", str(smaller), "--out", str(page)]) == 0
    text = page.read_text(encoding="utf-8")
    assert "Held against another layout" in text
    assert "six.toml" in text
    assert "0:00:38 North bench: this protection would have opened here; in the recording it opened 24 s later." in text
    assert main(["report", str(SHIPPED[1].path), "--out", str(page)]) == 0
    assert "another layout" not in page.read_text(encoding="utf-8")


def test_a_report_says_how_long_a_supply_was_over_its_protection_until_that_opened(tmp_path):
    """Amps of the session, added up by pandas: from the last moment at no more than 8 A to the opening."""
    page = tmp_path / "report.html"
    assert main(["report", str(SHIPPED[0].path), "--out", str(page)]) == 0
    times, amps = session_amps(SHIPPED[0])
    opened_s = openings(SHIPPED[0])["North bench"][0].at_s - SHIPPED[0].manifest().first_s
    before = times < opened_s - 0.5
    over_s = opened_s - times[before & (amps <= 8.0)][-1]
    row = next(line for line in page.read_text(encoding="utf-8").split("<tr>") if line.startswith("<td>North bench<"))
    assert f"{over_s:.0f} s" in row or f"{over_s - 0.5:.0f} s" in row


def test_sift_prints_forecasts_where_asked(tmp_path, heavy_bytes, capsys):
    (tmp_path / "show.toml").write_text(breaker(6.0))
    (tmp_path / "show.wire").write_bytes(heavy_bytes)
    paths = [str(tmp_path / "show.wire"), "--layout", str(tmp_path / "show.toml"), "--json"]
    assert main(["sift", *paths]) == 0
    assert "forecast" not in {json.loads(line)["kind"] for line in capsys.readouterr().out.splitlines()}
    assert main(["sift", *paths, "--forecasts", "--would-open"]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    found = [line for line in lines if line["kind"] == "forecast"]
    assert {"supply", "at_s", "opens_in_s", "earliest_s", "latest_s"} <= set(found[0])
    assert np.diff([line["at_s"] for line in found]) == pytest.approx(2.0)
    (opens,) = [line for line in lines if line["kind"] == "would-open" and line["supply"] == "North bench"]
    assert not opens["in_recording"]
    assert all(line["at_s"] <= opens["at_s"] for line in found)
    assert main(["sift", *paths[:-1], "--forecasts"]) == 0
    assert "opens in" in capsys.readouterr().out
