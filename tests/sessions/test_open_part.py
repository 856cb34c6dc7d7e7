"""A session that is being recorded can be read up to what the disk has: the open part as well as the sealed ones."""

import csv
import shutil
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from monitor.sessions import SessionFolder, session_writer
from monitor.sessions.csv_export import csv_pieces
from monitor.sessions.figures import review
from monitor.sessions.readings_log import load_readings
from monitor.sessions.table_log import part_paths
from tests.sessions.shows import overload_stream, record

SECONDS = 9.0
PATIENCE_S = 60
COLUMNS = ("volts_rms", "amps_rms", "amps_highest")


@pytest.fixture(params=[300.0, 4.0], ids=["nothing sealed", "two parts sealed"])
def recorder(request, tmp_path, monkeypatch):
    """A recorder that has everything on the disk and is not closed."""
    monkeypatch.setattr(session_writer, "PART_S", request.param)
    recorder, _ = record(tmp_path, overload_stream(SECONDS), SECONDS, close=False)
    ends_s = time.monotonic() + PATIENCE_S
    # All that was put is written: what a test reads twice must not grow in between.
    while recorder._waiting or recorder._in_hand or not _reaches(recorder, SECONDS - 1.0):
        assert time.monotonic() < ends_s
        time.sleep(0.05)
    yield recorder
    recorder.close()


def session_of(recorder):
    return SessionFolder(recorder.status().folder)


def _reaches(recorder, at_s):
    if recorder.status().folder is None:
        return False
    rows = load_readings(session_of(recorder), COLUMNS).get("Outer main")
    return rows is not None and rows.at_s[-1] >= at_s


def test_what_is_read_while_recording_is_what_pandas_reads_afterwards(recorder):
    session = session_of(recorder)
    meanwhile = load_readings(session, COLUMNS)
    assert any(path.suffix == ".arrows" for path in part_paths(session.readings, "readings"))
    recorder.close()
    frame = pd.read_parquet(session.readings)
    for name, rows in meanwhile.items():
        own = frame[frame.district == name].sort_values("at_s").iloc[: len(rows.at_s)]
        assert np.array_equal(rows.at_s, own.at_s)
        for column in COLUMNS:
            assert np.array_equal(rows.figures[column], own[column].to_numpy(np.float64), equal_nan=True)


def test_figures_and_table_reach_as_far_and_say_that_it_goes_on(recorder):
    session = session_of(recorder)
    figures = review(session)
    assert figures.losses == ("it is still being recorded",)
    assert SECONDS - 1.5 <= figures.duration_s <= SECONDS + 0.1
    rows = list(csv.reader(b"".join(csv_pieces(session)).decode("utf-8-sig").splitlines()))
    assert len(rows) - 1 >= 2 * 5 * (SECONDS - 1.5)


def test_a_torn_end_costs_no_more_than_its_own_rows(recorder, tmp_path):
    # A copy, which nothing is added to meanwhile.
    session = SessionFolder(Path(shutil.copytree(recorder.status().folder, tmp_path / "copy")))
    whole = load_readings(session, COLUMNS)
    path = part_paths(session.readings, "readings")[-1]
    path.write_bytes(path.read_bytes()[:-40])
    torn = load_readings(session, COLUMNS)
    # What stood in the last rows written may be of one district only.
    assert 0 < sum(len(rows.at_s) for rows in torn.values()) < sum(len(rows.at_s) for rows in whole.values())
    for name, rows in torn.items():
        assert np.array_equal(rows.at_s, whole[name].at_s[: len(rows.at_s)])
