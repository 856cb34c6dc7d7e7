"""Figures, pictures, report and table of a session, against what was sent and against pandas on the same readings."""

import csv
import re
from datetime import datetime
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.cli.main import main
from monitor.cli.sift_session import sift_session
from monitor.runtime import SummaryBuilder
from monitor.runtime.replay import session_pipeline
from monitor.sessions import find_sessions
from monitor.sessions.figures import review
from monitor.sessions.pictures import downsampled
from monitor.sessions.report import report
from monitor.sessions.trends import side_by_side, trends
from tests.runtime.streams import packed_stream, plain_layout, sine_counts
from tests.sessions.shows import BEGAN_AT, overload_stream, record

SECONDS = 9.0


@pytest.fixture(scope="module")
def show(tmp_path_factory):
    recordings = tmp_path_factory.mktemp("recordings")
    pipeline = session_pipeline(plain_layout())
    record(recordings, overload_stream(SECONDS), SECONDS, pipeline=pipeline, marks=[(120, "=2+2 <b>bold</b>")])
    return next(find_sessions(recordings))


@pytest.fixture(scope="module")
def calm(tmp_path_factory):
    recordings = tmp_path_factory.mktemp("calm")
    record(recordings, packed_stream(sine_counts(6.0)), 6.0)
    return next(find_sessions(recordings))


def test_figures_of_known_sines(show):
    figures = review(show)
    outer = next(district for district in figures.districts if district.name == "Outer main")
    # By hand (IEEE 1459, resistive): 15 V; 3 A, 14 A, 3 A for 3 s each: 45 W x 6 s + 210 W x 3 s = 900 Ws = 0.25 Wh.
    assert outer.energy_wh == pytest.approx(0.25, rel=0.03)
    assert outer.amps.mean == pytest.approx((3 + 14 + 3) / 3, rel=0.03)
    assert outer.amps.highest == pytest.approx(14, rel=0.02)
    assert outer.volt_amperes.highest == pytest.approx(210, rel=0.02)
    # The output's own 10 A: above it, and above 8 A, for the 3 s at 14 A.
    assert outer.above_s == {0.8: pytest.approx(3.0, abs=0.41), 1.0: pytest.approx(3.0, abs=0.41)}
    north = next(supply for supply in figures.supplies if supply.name == "North bench")
    assert north.share_highest == pytest.approx(210 / 180, rel=0.02)
    assert figures.duration_s == pytest.approx(SECONDS, abs=0.1)
    assert [mark.text for mark in figures.marks] == ["=2+2 <b>bold</b>"]


def test_figures_agree_with_pandas_on_the_same_readings(show):
    frame = pd.read_parquet(show.readings)
    for district in review(show).districts:
        rows = frame[frame.district == district.name]
        assert district.amps.mean == pytest.approx(float(rows.amps_rms.mean()), rel=1e-5)
        assert district.amps.high == pytest.approx(float(rows.amps_rms.quantile(0.95)), rel=1e-5)
        assert district.volt_amperes.highest == pytest.approx(float(rows.volt_amperes.rolling(5).mean().max()), rel=1e-4)
        assert district.energy_wh == pytest.approx(float(rows.joules.sum()) / 3600, rel=1e-6)


def test_energies_lost_seconds_and_marks_agree_to_the_last_digit_shown(tmp_path):
    """Live steps, both ways to sift, their tables and the report, of a stream with two holes and a second beyond the sensor's range."""
    spans = ((3.0, 2.0, 0.0), (40.0, 1.0, 2.0), (3.0, 2.0, 3.0))
    data = packed_stream(
        np.concatenate([sine_counts(seconds, amps_rms=(amps, 1.0), start_s=at_s) for amps, seconds, at_s in spans])
    )
    holes = [(round(len(data) * begin), round(len(data) * end)) for begin, end in ((0.2, 0.29), (0.7, 0.74))]
    for begin, end in holes:  # noise of the same length: what comes later comes when it did
        data = data[:begin] + bytes(end - begin) + data[end:]
    steps, builder = (
        record(tmp_path, data, 5.0, pipeline=session_pipeline(plain_layout()))[1],
        SummaryBuilder(plain_layout()),
    )
    for step in steps:
        builder.add(step)
    live = builder.build().districts
    session = next(find_sessions(tmp_path))
    ways = [sift_session(session.path, None, exact=exact) for exact in (False, True)]
    summaries = [list(way.lines())[-1]["districts"] for way in ways]
    table, exact_table = ([row for row in way.table().splitlines() if row.startswith(tuple(live))] for way in ways)
    assert [row.split()[-2:] for row in table] == [row.split()[-2:] for row in exact_table]
    report_of = {district.name: district for district in review(session).districts}
    for name, told in live.items():
        own = report_of[name]
        for summary in summaries:
            assert summary[name]["energy_wh"] == pytest.approx(told.energy_wh, abs=5e-4)  # of the thousandth that is shown
            assert summary[name]["lost_s"] == pytest.approx(told.lost_s, abs=0.02)
            assert (summary[name]["volts_clipped"], summary[name]["amps_clipped"]) == (told.volts_clipped, told.amps_clipped)
        assert f"{own.energy_wh:.2f}" == f"{told.energy_wh:.2f}"
        assert own.energy_wh == pytest.approx(summaries[1][name]["energy_wh"], abs=1e-6)
        assert (own.volts_clipped, own.amps_clipped) == (told.volts_clipped, told.amps_clipped)
        assert own.measured_s + told.lost_s == pytest.approx(5.0, abs=0.15)
    assert [told.amps_clipped for told in live.values()][:2] == [True, False]
    # 9 and 4 hundredths of five seconds were left out.
    assert [told.lost_s for told in live.values()] == pytest.approx([0.13 * 5.0] * len(live), abs=0.1)
    assert ">=" in table[0]
    assert ">=" not in table[1]


@pytest.mark.parametrize("pace", [0.98, 1.0, 1.03])
def test_means_and_energies_are_of_the_boards_own_time(pace, tmp_path):
    """Whatever the pace at which bytes come: 15 V and 2, 6 and 3 A for 8, 4 and 4 s make 240, 360 and 180 joules, 780 in all (by hand)."""
    spans = ((2.0, 8.0, 0.0), (6.0, 4.0, 8.0), (3.0, 4.0, 12.0))
    data = packed_stream(
        np.concatenate([sine_counts(seconds, amps_rms=(amps, 1.0), start_s=at_s) for amps, seconds, at_s in spans])
    )
    steps, builder = (
        record(tmp_path, data, 16.0 * pace, pipeline=session_pipeline(plain_layout()))[1],
        SummaryBuilder(plain_layout()),
    )
    for step in steps:
        builder.add(step)
    name, live = next(iter(builder.build().districts.items()))
    session = next(find_sessions(tmp_path))
    told = [list(sift_session(session.path, None, exact=exact).lines())[-1]["districts"][name] for exact in (False, True)]
    own = next(district for district in review(session).districts if district.name == name)
    assert live.energy_wh == pytest.approx(780 / 3600, rel=0.01)
    for figures in told:
        assert f"{figures['energy_wh']:.3f} {figures['amps_mean']:.2f}" == f"{live.energy_wh:.3f} {live.amps_mean:.2f}"
    assert f"{own.energy_wh:.3f}" == f"{live.energy_wh:.3f}"


def test_a_figure_beyond_the_sensors_range_is_a_lower_bound_wherever_it_is_kept(calm, tmp_path):
    """40 A RMS are beyond the converter's 30 A."""
    record(tmp_path, packed_stream(sine_counts(3.0, amps_rms=(40.0, 1.0))), 3.0)
    session = next(find_sessions(tmp_path))
    clipped = review(session)
    assert [(d.volts_clipped, d.amps_clipped, d.power_clipped) for d in clipped.districts[:2]] == [
        (False, True, True),
        (False,) * 3,
    ]
    (summary,) = [line for line in sift_session(session.path, None).lines() if line["kind"] == "summary"]
    assert [d["amps_clipped"] for d in summary["districts"].values()][:2] == [True, False]
    bounds = {(row.figure, row.where) for row in side_by_side(review(calm), clipped) if row.at_least == (False, True)}
    assert bounds == {
        *((figure, "Outer main") for figure in ("amps mean (A)", "amps highest (A)", "energy (Wh)")),
        *((figure, "North bench") for figure in ("VA mean", "VA highest second", "share of plate, highest (%)")),
    }
    assert main(["report", str(session.path), "--out", str(tmp_path / "report.html")]) == 0
    text = (tmp_path / "report.html").read_text()
    assert text.count("≥") >= 8, "amps three times, VA and Wh of the district, VA three times and the share of the supply"


def test_two_sessions_side_by_side_and_trends(show, calm):
    first, second = review(calm), review(show)
    highest = next(row for row in side_by_side(first, second) if row.figure == "VA highest second" and row.where == "North bench")
    assert (highest.first, highest.second) == (pytest.approx(45, rel=0.05), pytest.approx(210, rel=0.05))
    assert highest.change == pytest.approx(165, rel=0.05)
    over = {(trend.figure, trend.where): trend for trend in trends([second, first])}
    assert [at for at, _ in over["VA highest second", "North bench"].points] == [BEGAN_AT, BEGAN_AT]


@given(st.lists(st.floats(-1e6, 1e6) | st.just(float("nan")), min_size=1, max_size=400), st.integers(2, 60))
@settings(max_examples=60, deadline=None)
def test_no_peak_is_lost(values, half):
    at_s, values = np.arange(len(values)) * 0.2, np.array(values)
    kept_s, kept = downsampled(at_s, values, 2 * half)
    good = values[np.isfinite(values)]
    assert len(kept) <= max(2 * half, 2)
    assert (np.diff(kept_s) > 0).all()
    if len(good):
        assert (kept.max(), kept.min()) == (good.max(), good.min())


class _Page(HTMLParser):
    """Collects what a page would fetch, and its words."""

    def __init__(self):
        super().__init__()
        self.fetched, self.words, self.svgs = [], [], 0

    def handle_starttag(self, tag, attributes):
        self.fetched += [value for name, value in attributes if name in ("src", "href", "srcset", "data", "action")]
        self.svgs += tag == "svg"
        assert tag not in ("script", "iframe", "object", "link", "b")

    def handle_data(self, data):
        self.words.append(data)


def test_the_report_says_it_all_and_fetches_nothing(show, tmp_path, capsys):
    page_path, table = tmp_path / "show.html", tmp_path / "show.csv"
    command = ["report", str(show.path), "--out", str(page_path), "--pdf", "--paper", "letter", "--csv", str(table)]
    assert main(command) == 0
    html = page_path.read_text()
    page = _Page()
    page.feed(html)
    assert page.fetched == []
    assert "url(" not in html
    assert page.svgs == 2 + 2 * 2
    words = " ".join(page.words)
    for said in (
        "What ran",
        "What came close",
        "What stalled",
        "before the next show",
        "Bench checks outstanding",
        "117 %",
        "=2+2",
    ):
        assert said in words
    # US letter in points (ISO 32000 user space, 1/72 inch): 8.5 x 11 inches.
    assert re.search(rb"/MediaBox\s*\[0 0 612 792\]", page_path.with_suffix(".pdf").read_bytes())
    capsys.readouterr()


def test_what_to_mend_names_a_supply_close_to_its_plate(show, calm):
    asked = "North bench: reached 117 % of its nameplate: move some of its load to another supply."
    assert asked in report(show)
    assert "of its nameplate: move" not in report(calm)


def test_the_table_is_one_that_spreadsheets_read(show, tmp_path, capsys):
    table = tmp_path / "show.csv"
    assert main(["report", str(show.path), "--out", str(tmp_path / "x.html"), "--csv", str(table)]) == 0
    capsys.readouterr()
    data = table.read_bytes()
    # The byte order mark tells spreadsheet programs that it is UTF-8; RFC 4180 has CRLF.
    assert data.startswith(b"\xef\xbb\xbf")
    assert data.count(b"\r\n") == data.count(b"\n")
    rows = list(csv.reader(data.decode("utf-8-sig").splitlines()))
    assert re.fullmatch(r"time \(UTC[+-]\d\d:\d\d\)", rows[0][0])
    assert "amps highest cycle (A)" in rows[0]
    # ISO 8601 with a space for the T and without a zone: what spreadsheet programs take for a time (common practice, no published
    # source).
    assert datetime.strptime(rows[1][0], "%Y-%m-%d %H:%M:%S.%f").astimezone() == BEGAN_AT
    assert len(rows) - 1 == len(pd.read_parquet(show.readings))
