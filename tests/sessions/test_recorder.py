import json
import lzma
import time
from dataclasses import MISSING, fields, replace

import numpy as np
import pandas as pd
import pytest

from monitor.bus.notes import Writer
from monitor.bus.payloads import encode
from monitor.sessions import Playback, find_sessions
from monitor.sessions.buckets import BoardBuckets
from monitor.sessions.notice_rows import row_line
from monitor.sessions.recorder import Recorder
from monitor.sessions.recording import kept_of
from monitor.values import Action, Chunk, Priority, ReadingBlock, Scope, Step
from monitor.values import Warning as RaisedWarning
from tests.runtime.streams import packed_stream, sine_counts
from tests.sessions.shows import BEGAN_AT, LAYOUT_TEXT, PORT, chunks_of, record

SECONDS = 6.0
ARRAYS = [each.name for each in fields(ReadingBlock) if each.default is MISSING and each.name not in ("board", "districts")]


@pytest.fixture(scope="module")
def show(tmp_path_factory):
    recordings = tmp_path_factory.mktemp("recordings")
    data = packed_stream(sine_counts(SECONDS))
    recorder, steps = record(recordings, data, SECONDS, marks=[(100, "cleaned rails")])
    (session,) = find_sessions(recordings)
    return session, data, steps, recorder


def test_raw_bytes_are_the_capture_itself(show):
    session, data, _steps, _recorder = show
    sealed = sorted(session.raw.iterdir())
    assert b"".join(lzma.decompress(path.read_bytes()) for path in sealed) == data


def test_chunks_come_back_as_they_came(show):
    session, data, _steps, _recorder = show
    played = list(Playback(session))
    assert [each.chunk for each in played[:-1]] == chunks_of(data, SECONDS)
    assert {each.port for each in played} == {PORT}
    assert [action.text for each in played for action in each.actions] == ["cleaned rails"]
    assert next(k for k, each in enumerate(played) if each.actions) == 100
    assert played[100].actions == (Action(kind="mark", at_s=played[100].chunk.received_s, text="cleaned rails"),)


def test_ten_times_the_data_takes_less_than_one_core(tmp_path):
    """Noise, which no codec makes smaller, ten times as fast as 500000 baud bring it (8N1: ten bits a byte); compressing included."""
    pieces, piece_s = 480, 0.025
    data = np.random.default_rng(1).bytes(pieces * 12_500)
    chunks = [Chunk(data=data[k * 12_500 : (k + 1) * 12_500], received_s=(k + 1) * piece_s) for k in range(pieces)]
    recorder = Recorder(tmp_path, LAYOUT_TEXT, began_at=BEGAN_AT, reserve_bytes=0)
    began_s = time.process_time()
    for chunk in chunks:
        recorder.put(Step(port=PORT, chunk=chunk, now_s=chunk.received_s))
        recorder.keep_up(4_000_000)
    recorder.close()
    assert time.process_time() - began_s < pieces * piece_s
    (session,) = find_sessions(tmp_path)
    assert [each.chunk for each in Playback(session)] == chunks
    assert session.closing().losses == ()


def test_pandas_opens_the_readings_in_one_line(show):
    session, _data, _steps, _recorder = show
    readings = pd.read_parquet(session.readings)
    outer = readings[readings.district == "Outer main"]
    # U, I and P of the sines that were sent (IEEE 1459: P = U I for a resistive load), within half a per cent of full scale.
    settled = outer[outer.at_s.between(1, SECONDS - 1)]
    assert settled.volts_rms.to_numpy() == pytest.approx(15.0, abs=0.18)
    assert settled.watts.to_numpy() == pytest.approx(45.0, abs=1.5)
    assert (outer.volts_lowest <= outer.volts_rms + 1e-4).all()
    assert (outer.volts_rms <= outer.volts_highest + 1e-4).all()
    assert np.diff(settled.at_s) == pytest.approx(0.2)
    assert outer.time.iloc[0] == BEGAN_AT
    assert str(outer.time.dtype) == "datetime64[ms, UTC]"


def test_kept_rows_hold_every_reading(show):
    session, _data, steps, _recorder = show
    readings = pd.read_parquet(session.readings)
    live = np.concatenate([block.amps_rms[:, 0] for step in steps for block in step.readings])
    outer = readings[readings.district == "Outer main"]
    assert outer.readings.sum() == len(live)
    assert outer.amps_highest.max() == pytest.approx(live.max(), rel=1e-6)
    assert outer.amps_lowest.min() == pytest.approx(live.min(), rel=1e-6)


def test_the_session_describes_and_closes_itself(show):
    session, data, _steps, recorder = show
    manifest = session.manifest()
    assert (manifest.title, manifest.began_at) == ("Fernhollow show layout", BEGAN_AT)
    assert session.layout().title == manifest.title
    closing = session.closing()
    assert closing.raw_bytes == {"1": len(data)}
    assert {*closing.files} == {
        path.relative_to(session.path).as_posix()
        for path in session.path.rglob("*")
        if path.is_file() and path.name != "closing.json"
    }
    assert [json.loads(line)["board"] for line in session.notices("boards").read_text().splitlines()] == ["bench-1"]
    assert recorder.status().state == "closed"


def test_no_bytes_are_lost_to_a_figure_of_a_kind_of_float_of_its_own(show):
    warning = RaisedWarning(
        id=1, rule="trip-forecast", priority=Priority.HIGH, scope=Scope(kind="supply", name="North bench"), start_s=np.float64(1.0),
        end_s=None, trip_in_s=np.float64(2.5), message="a", advice="b",
    )  # fmt: skip
    step = replace(show[2][5], warnings=(warning,))
    assert step.chunk.data
    kept = kept_of(step)
    assert kept.data == step.chunk.data
    (row,) = [row for kind, row in kept.notices if kind == "warnings"]
    assert json.loads(row_line(row))["trip_in_s"] == 2.5
    assert json.loads(encode(Writer(began_unix_s=0.0).warning(warning, 1.0)))["start_s"] == 1.0


def test_readings_are_kept_whatever_a_block_leaves_out():
    """A line board says neither which sensors lie nor which amps are clipped; beside blocks that do, nothing may be lost."""

    def block(first_s, **known):
        ends = first_s + np.arange(1, 14) * 0.05
        figures = {name: np.full((13, 1), 2.0) for name in ARRAYS if name not in ("start_s", "end_s", "frequency_hz", "seconds")}
        return ReadingBlock(
            board="bench-1", districts=("Outer main",), start_s=ends - 0.05, end_s=ends, frequency_hz=np.full(13, 60.0), **figures, **known
        )  # fmt: skip

    optional = [each.name for each in fields(ReadingBlock) if each.default is None]
    known = {name: np.ones((13, 1), dtype=bool) for name in optional}
    buckets = BoardBuckets()
    tables = []
    for k in range(6):
        buckets.add(block(0.65 * k, **(known if k % 2 else {})))
        tables.append(buckets.take())
    tables.append(buckets.take(everything=True))
    assert sum(int(table["readings"].sum()) for table in tables if table is not None) == 6 * 13
