"""Samples around events, exported as COMTRADE and read back with the comtrade library, and as CSV."""

import csv
import io
import itertools
from datetime import UTC, datetime
from pathlib import Path

import comtrade as reader
import numpy as np
import pytest

from monitor.diagnosis.snapshots import BEFORE_S, SampleMemory, snapshot_span
from monitor.sessions.comtrade import DataForm, Origin, comtrade, in_board_order, snapshot_csv
from monitor.values import Cause, Channel, Event, Identity, SampleBlock, Snapshot
from tests.diagnosis.benches import layout

INTERVAL_S = 0.000832
BEGAN = datetime(2026, 11, 25, 19, 30, tzinfo=UTC)
IDENTITY = Identity(
    number=0,
    name="bench-1",
    scan_interval_s=INTERVAL_S,
    channels=tuple(
        Channel(quantity="V" if k % 2 == 0 else "A", skew_s=k * 104e-6, units_per_count=(0.07, 0.06)[k % 2], zero_counts=512.0)
        for k in range(8)
    ),
)


def blocks(seconds: float, lost: slice = slice(0, 0)) -> list[SampleBlock]:
    at_s = np.arange(round(seconds / INTERVAL_S)) * INTERVAL_S
    counts = np.round(512 + 200 * np.sin(2 * np.pi * 60 * at_s[:, None] + np.arange(8))).astype(np.int16)
    edges = [0, 700, lost.start, lost.stop, 1800, len(at_s)] if lost.stop else [0, 700, 1800, len(at_s)]
    return [
        SampleBlock(
            board="bench-1",
            identity=IDENTITY,
            start_s=first * INTERVAL_S,
            interval_s=INTERVAL_S,
            first_scan=first,
            counts=counts[first:last],
            continues=first > 0,
        )
        for first, last in itertools.pairwise(edges)
        if first != lost.start or not lost.stop
    ]


def snapshot(lost: slice = slice(0, 0)) -> Snapshot:
    memory = SampleMemory(layout())
    memory.take(tuple(blocks(3.0, lost)))
    cut = memory.cut(7, "Inner main", *snapshot_span(1.0, 1.25))
    assert cut is not None
    return cut


EVENT = Event(id=7, district="Inner main", cause=Cause.LOST_CONTACT, start_s=1.0, end_s=1.25, confidence=0.9)


FORMS = pytest.mark.parametrize("form", ["BINARY", "ASCII"])


def read_back(found: Snapshot, tmp_path: Path, form: DataForm) -> reader.Comtrade:
    written = comtrade(found, EVENT, Origin(station="Fernhollow, show layout", mains_hertz=60, began_at=BEGAN), form)
    (tmp_path / "event.cfg").write_text(written.cfg, newline="")
    (tmp_path / "event.dat").write_bytes(written.dat)
    record = reader.Comtrade()
    record.load(str(tmp_path / "event.cfg"), str(tmp_path / "event.dat"))
    return record


def test_a_snapshot_covers_the_event_and_a_little_more():
    found = snapshot()
    assert found.start_s == pytest.approx(1.0 - BEFORE_S, abs=INTERVAL_S)
    assert found.start_s + len(found.values) * found.interval_s == pytest.approx(1.25 + 0.3, abs=2 * INTERVAL_S)
    assert [(c.district, c.quantity) for c in found.channels[:4]] == [
        ("Inner main", "V"),
        ("Inner main", "A"),
        ("Outer main", "V"),
        ("Outer main", "A"),
    ]
    at_s = found.start_s + np.arange(len(found.values)) * INTERVAL_S
    assert found.values[:, 0] == pytest.approx(14 * np.sin(2 * np.pi * 60 * at_s + 2), abs=0.04)


def test_lost_scans_are_holes():
    found = snapshot(slice(1200, 1300))
    first = round(found.start_s / INTERVAL_S)
    assert np.isnan(found.values[1200 - first : 1300 - first]).all()
    assert np.isnan(found.values).all(axis=1).sum() == 100


@FORMS
def test_comtrade_reads_back(tmp_path: Path, form: DataForm):
    found = in_board_order(snapshot())
    record = read_back(found, tmp_path, form)
    assert record.ft == form
    assert record.station_name == "Fernhollow  show layout"
    assert record.rev_year == "1999"
    assert record.frequency == 60
    assert (record.analog_count, record.status_count, record.total_samples) == (8, 1, len(found.values))
    for k in range(8):
        least_figure = float(np.abs(found.values[:, k]).max()) / 32767
        assert np.array(record.analog[k]) == pytest.approx(found.values[:, k], abs=0.51 * least_figure)
    # This library goes by the rate, a whole number that other readers need; the stamps have the exact step, and no reader drifts.
    assert record.cfg.sample_rates == [[1202.0, len(found.values)]]
    assert np.array(record.time) == pytest.approx(np.arange(len(found.values)) * INTERVAL_S, rel=5e-4)
    assert record.analog_channel_ids[:4] == ["Outer main volts", "Outer main amps", "Inner main volts", "Inner main amps"]
    assert [channel.uu for channel in record.cfg.analog_channels[:2]] == ["V", "A"]
    assert record.cfg.analog_channels[3].skew == pytest.approx(3 * 104)
    assert record.start_timestamp == datetime(2026, 11, 25, 19, 30, 0, round(found.start_s * 1e6))  # noqa: DTZ001 - as the format has it
    assert record.trigger_time == pytest.approx(EVENT.start_s - found.start_s, abs=2e-6)


@FORMS
def test_what_is_missing_reads_back_as_missing(tmp_path: Path, form: DataForm):
    found = in_board_order(snapshot(slice(1200, 1300)))
    record = read_back(found, tmp_path, form)
    for k in range(8):
        assert np.isnan(record.analog[k]).tolist() == np.isnan(found.values[:, k]).tolist()


def test_comtrade_stamps_have_the_boards_step_and_its_header_says_utc():
    found = snapshot()
    record = comtrade(found, EVENT, Origin(station="t", mains_hertz=60, began_at=BEGAN), "ASCII")
    stamps_us = np.array([int(line.split(",")[1]) for line in record.dat.decode().splitlines()])
    assert stamps_us == pytest.approx(np.arange(len(stamps_us)) * INTERVAL_S * 1e6, abs=0.5)
    assert "UTC" in record.hdr
    assert f"{INTERVAL_S * 1e6:.3f} microseconds" in record.hdr


@FORMS
def test_comtrade_says_while_the_event_goes_on(tmp_path: Path, form: DataForm):
    found = snapshot()
    going_on = np.array(read_back(found, tmp_path, form).status[0]).astype(bool)
    at_s = found.start_s + np.arange(len(found.values)) * INTERVAL_S
    assert going_on.tolist() == ((at_s >= 1.0) & (at_s < 1.25)).tolist()


def test_csv_holds_the_same_figures():
    found = in_board_order(snapshot(slice(1200, 1210)))
    rows = list(csv.reader(io.StringIO(snapshot_csv(found, EVENT))))
    assert rows[0][:2] == ["time from its beginning (s)", "volts of Outer main (V)"]
    assert rows[0][2] == "amps of Outer main, 0.104 ms later (A)"
    assert len(rows) == len(found.values) + 1
    assert float(rows[1][0]) == pytest.approx(found.start_s - 1.0, abs=1e-6)
    assert float(rows[1][1]) == pytest.approx(float(found.values[0, 0]), abs=1e-4)
    assert sum(row[1] == "" for row in rows) == 10
