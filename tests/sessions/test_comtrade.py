"""Moments of a recorded session on the command line; COMTRADE is read back with the comtrade library."""

import csv

import comtrade
import numpy as np
import pytest

from monitor.cli.main import main
from monitor.layout import parse_layout
from monitor.runtime.replay import session_pipeline
from monitor.sessions import find_sessions
from monitor.sessions.comtrade import in_board_order
from monitor.sessions.notice_rows import read_notices
from monitor.sessions.recorder import Recorder
from monitor.sessions.snapshot_log import Moments
from monitor.values import Chunk, Event
from tests.sessions.shows import BEGAN_AT, SHORT_S, rehearsed_short


@pytest.fixture(scope="module")
def session(tmp_path_factory):
    """A rehearsed short as a watch records it."""
    wire, layout_text = rehearsed_short()
    recordings = tmp_path_factory.mktemp("recordings")
    recorder = Recorder(recordings, layout_text, began_at=BEGAN_AT, reserve_bytes=0)
    pipeline = session_pipeline(parse_layout(layout_text))
    size = -(-len(wire) // (SHORT_S * 10))
    for k in range(SHORT_S * 10):
        chunk = Chunk(data=wire[k * size : (k + 1) * size], received_s=round((k + 1) / 10, 6))
        recorder.put(pipeline.feed("p", chunk))
        recorder.keep_up(4_000_000)
    recorder.put(pipeline.finish("p"))
    recorder.close()
    return next(find_sessions(recordings))


def test_the_list_has_every_event(session, capsys):
    assert main(["snapshots", str(session.path)]) == 0
    lines = capsys.readouterr().out.splitlines()
    events = read_notices(session, "events", Event)
    assert len(lines) == len(events) + 1
    assert sum("short" in line for line in lines) == sum(event.cause.value == "short" for event in events) >= 1


@pytest.mark.parametrize("form", ["comtrade", "comtrade-ascii"])
def test_all_moments_as_comtrade(session, tmp_path, capsys, form):
    events = read_notices(session, "events", Event)
    assert main(["snapshots", str(session.path), "--out", str(tmp_path / "out"), "--form", form]) == 0
    assert f"{len(events)} of {len(events)} moments" in capsys.readouterr().out
    moments = Moments(session)
    for event in events:
        (cfg,) = (tmp_path / "out").glob(f"event-{event.id:04d}_{event.cause.value}_*.cfg")
        record = comtrade.Comtrade()
        record.load(str(cfg), str(cfg.with_suffix(".dat")))
        kept = in_board_order(moments.snapshot(event))
        assert record.total_samples == len(kept.values)
        for k in range(record.analog_count):
            least = float(np.nanmax(np.abs(kept.values[:, k]))) / 32767
            assert np.array(record.analog[k]) == pytest.approx(kept.values[:, k], abs=0.51 * least, nan_ok=True)
        # IEC 60255-24: the second line counts all channels, then each kind.
        channels = len(kept.channels)
        assert cfg.read_text().splitlines()[1] == f"{channels + 1},{channels}A,1D"
        times_s = np.arange(len(kept.values)) * kept.interval_s
        # A reader that goes by the rate, which is rounded to a whole number, is off by that; the time stamps are not.
        assert np.array(record.time) == pytest.approx(times_s, rel=0.5 * kept.interval_s, abs=1e-6)
        if form == "comtrade-ascii":
            stamps = [line.split(",")[1] for line in cfg.with_suffix(".dat").read_text().splitlines()]
            assert np.array(stamps, dtype=float) / 1e6 == pytest.approx(times_s, abs=0.51e-6)
        at_s = kept.start_s + times_s
        going_on = (at_s >= event.start_s) & (at_s < (np.inf if event.end_s is None else event.end_s))
        assert np.array(record.status[0]).astype(bool).tolist() == going_on.tolist()
        # The trigger is the event's beginning, on the session's own day.
        assert (record.trigger_timestamp - BEGAN_AT.replace(tzinfo=None)).total_seconds() == pytest.approx(
            event.start_s, abs=1e-5
        )


def test_one_moment_as_csv(session, tmp_path):
    event = read_notices(session, "events", Event)[0]
    assert main(["snapshots", str(session.path), "--event", str(event.id), "--out", str(tmp_path), "--form", "csv"]) == 0
    (path,) = tmp_path.iterdir()
    rows = list(csv.reader(path.read_text(encoding="utf-8-sig").splitlines()))
    kept = in_board_order(Moments(session).snapshot(event))
    assert rows[0][1].startswith("volts of ")
    assert rows[0][1].endswith("(V)")
    assert rows[0][2].endswith("(A)")
    times_s = kept.start_s - event.start_s + np.arange(len(kept.values)) * kept.interval_s
    assert [float(row[0]) for row in rows[1:]] == pytest.approx(times_s.tolist(), abs=1e-6)
    assert [float(row[1]) for row in rows[1:]] == pytest.approx(kept.values[:, 0].tolist(), abs=1e-4)


def test_cut_again_from_the_raw_bytes_they_are_the_same(session, tmp_path):
    arguments = ["snapshots", str(session.path), "--form", "csv", "--event", "1"]
    assert main([*arguments, "--out", str(tmp_path / "kept")]) == 0
    assert main([*arguments, "--out", str(tmp_path / "again"), "--again"]) == 0
    kept, again = (next((tmp_path / name).iterdir()) for name in ("kept", "again"))
    assert (kept.name, kept.read_bytes()) == (again.name, again.read_bytes())


def test_an_unknown_event_is_a_plain_line(session, capsys):
    assert main(["snapshots", str(session.path), "--event", "999"]) == 2
    assert "has no event 999" in capsys.readouterr().err
