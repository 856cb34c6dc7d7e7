"""Samples around events and slow figures, kept with the session: as they were, after any cut, and in no more room than is said."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pyarrow.parquet
import pytest

from monitor.layout import parse_layout
from monitor.runtime import Pipeline
from monitor.sessions import SessionFolder, find_sessions, snapshot_log
from monitor.sessions.description import new_manifest
from monitor.sessions.figures import review
from monitor.sessions.folder import FORMAT
from monitor.sessions.notice_rows import read_notices
from monitor.sessions.pack import pack, unpack
from monitor.sessions.recorder import Recorder
from monitor.sessions.recording import kept_of
from monitor.sessions.recovery import recover_all
from monitor.sessions.session_writer import SessionWriter
from monitor.sessions.snapshot_log import Moments
from monitor.values import Cause, Chunk, Event, SlowFigure, Snapshot, SnapshotChannel, Step
from tests.sessions.shows import BEGAN_AT, LAYOUT_TEXT, rehearsed_short

PIECE = 1 << 16


@pytest.fixture(scope="module")
def show(tmp_path_factory):
    """A rehearsed short and the sag beside it, recorded."""
    wire, layout_text = rehearsed_short()
    recordings = tmp_path_factory.mktemp("recordings")
    pipeline, recorder = (
        Pipeline(parse_layout(layout_text)),
        Recorder(recordings, layout_text, began_at=BEGAN_AT, reserve_bytes=0),
    )
    steps = [pipeline.feed("p", Chunk(data=wire[at : at + PIECE])) for at in range(0, len(wire), PIECE)]
    steps.append(pipeline.finish("p"))
    for step in steps:
        recorder.put(step)
    recorder.close()
    (session,) = find_sessions(recordings)
    return session, steps


def test_each_moment_comes_back_as_it_was(show):
    session, steps = show
    moments = Moments(session)
    events = {event.id: event for step in steps for event in step.events}
    snapshots = [snapshot for step in steps for snapshot in step.snapshots]
    assert len(snapshots) >= 2
    for snapshot in snapshots:
        found = moments.snapshot(events[snapshot.event_id])
        assert (found.event_id, found.board, found.interval_s) == (snapshot.event_id, snapshot.board, snapshot.interval_s)
        assert found.channels[0].district == events[snapshot.event_id].district
        assert set(found.channels) == set(snapshot.channels)
        # One that is kept for several events of a board may begin or end some hundredths of a second apart.
        columns = [found.channels.index(channel) for channel in snapshot.channels]
        offset = round((snapshot.start_s - found.start_s) / snapshot.interval_s)
        theirs, ours = found.values[max(0, offset) :, columns], snapshot.values[max(0, -offset) :]
        shared = min(len(theirs), len(ours))
        assert np.array_equal(theirs[:shared], ours[:shared], equal_nan=True)
        assert len(snapshot.values) - shared <= 2 * 0.05 / snapshot.interval_s


def test_pandas_opens_the_moments_in_one_line(show):
    session, _steps = show
    kept = pd.read_parquet(session.snapshots)
    row = kept[(kept.quantity == "volts")].iloc[0]
    assert len(row["values"]) == row.samples
    assert (row.time - pd.Timestamp(BEGAN_AT)).total_seconds() == pytest.approx(row.start_s, abs=1e-5)


def test_slow_figures_come_back(tmp_path):
    figure = SlowFigure(kind="loop-ohms", name="Outer main", value=0.42, reference=None, spread=0.01, count=7, at_s=60.0)
    recorder = Recorder(tmp_path, LAYOUT_TEXT, began_at=BEGAN_AT, reserve_bytes=0)
    recorder.put(Step(port="p", chunk=Chunk(data=b""), now_s=61.0, slow_figures=(figure,)))
    recorder.close()
    (session,) = find_sessions(tmp_path)
    assert read_notices(session, "slow_figures", SlowFigure) == [figure]
    assert json.loads((session.path / "slow_figures.jsonl").read_text())["value"] == 0.42
    # Review and trends show what the watch itself found.
    assert next(d for d in review(session).districts if d.name == "Outer main").loop_ohms == 0.42


def sine_snapshot(event_id, start_s, districts=("Outer main", "Inner main"), seconds=1.0):
    """What a 10-bit converter makes of 60 Hz sines with noise of half a count."""
    rng = np.random.default_rng(event_id)
    at_s = start_s + np.arange(round(seconds / 832e-6)) * 832e-6
    channels = tuple(SnapshotChannel(district=d, quantity=q, skew_s=104e-6 * k) for k, d in enumerate(districts) for q in "VA")
    waves = [np.round(200 * np.sin(2 * np.pi * 60 * at_s) + rng.normal(0, 0.5, len(at_s))) * 0.07 for _ in channels]
    values = np.column_stack(waves).astype(np.float32)
    return Snapshot(event_id=event_id, board="bench-1", start_s=start_s, interval_s=832e-6, channels=channels, values=values)


def lost_at(event_id, start_s, district="Outer main"):
    return Event(id=event_id, district=district, cause=Cause.LOST_CONTACT, start_s=start_s, end_s=start_s + 0.2, confidence=0.9)


def writer(tmp_path):
    return SessionWriter.begin(tmp_path / "session", LAYOUT_TEXT, new_manifest("Fernhollow", BEGAN_AT, ports={}, invented=False))


def put(session_writer, now_s, *snapshots):
    session_writer.write([kept_of(Step(port="p", chunk=Chunk(data=b"\0", received_s=now_s), now_s=now_s, snapshots=snapshots))])


def test_a_cut_recording_keeps_its_moments(tmp_path):
    one = writer(tmp_path)
    put(one, 1.0, sine_snapshot(1, 0.2))
    put(one, 2.0, sine_snapshot(2, 1.4))
    one.sync()
    one.abandon()
    (open_part,) = one.session.snapshots.iterdir()
    assert len(Moments(one.session)) == 2
    whole = open_part.read_bytes()
    for cut in (len(whole) - 1, len(whole) - 4000, 10):
        open_part.write_bytes(whole[:cut])
        found = Moments(one.session)
        assert len(found) == (1 if cut > 10 else 0)
    open_part.write_bytes(whole[:-1])
    recover_all(tmp_path)
    assert [path.name for path in one.session.snapshots.iterdir()] == ["snapshots-0001.parquet"]
    assert np.array_equal(Moments(one.session).snapshot(lost_at(1, 0.5)).values, sine_snapshot(1, 0.2).values)


def test_a_damaged_part_is_put_aside_and_said(tmp_path):
    one = writer(tmp_path)
    put(one, 1.0, sine_snapshot(1, 0.2))
    one.close("the end")
    (part,) = one.session.snapshots.iterdir()
    part.write_bytes(part.read_bytes()[:-20])
    found = Moments(one.session)
    assert (len(found), found.snapshot(lost_at(1, 0.5))) == (0, None)
    assert "cannot be read" in found.damage[0]
    (one.session.path / "closing.json").unlink()
    (recovered,) = recover_all(tmp_path)
    assert "samples around events can be made again" in recovered.losses[0]


def test_what_several_districts_share_is_kept_once(tmp_path):
    one = writer(tmp_path)
    first = sine_snapshot(1, 5.0)
    second = replace(first, event_id=2, channels=first.channels[2:] + first.channels[:2], values=first.values[:, [2, 3, 0, 1]])
    put(one, 6.0, first, second, sine_snapshot(3, 5.4))
    one.close("the end")
    moments = Moments(one.session)
    assert len(moments) == 2
    shared = moments.snapshot(lost_at(2, 5.3, "Inner main"))
    assert shared.channels == second.channels
    assert np.array_equal(shared.values, second.values)
    assert moments.snapshot(lost_at(9, 50.0)) is None


def test_the_room_they_take_is_bounded(tmp_path, monkeypatch):
    monkeypatch.setattr(snapshot_log, "A_PART", 5)
    one = writer(tmp_path)
    districts = ("Outer main", "Inner main", "Quarry branch", "Town lights")
    for k in range(8):
        put(one, 10.0 * k + 2, sine_snapshot(k, 10.0 * k, districts))
    one.next_part()
    put(one, 90.0, sine_snapshot(8, 88.0, districts))
    one.close("the end")
    assert len(Moments(one.session)) == 6
    part = one.session.snapshots / "snapshots-0001.parquet"
    assert pyarrow.parquet.read_metadata(part).num_rows == 5 * 8
    # Said in the module: 14 kB each at 8 channels; 720 an hour are then 10 MB of the 40.
    assert part.stat().st_size / 5 < 14_000


def test_pack_and_unpack_carry_them(show, tmp_path):
    session, steps = show
    there = unpack(pack(session, tmp_path), tmp_path / "there")
    assert len(Moments(there)) == len(Moments(session)) > 0
    event = next(event for step in steps for event in step.events if Moments(session).find(event))
    assert np.array_equal(Moments(there).snapshot(event).values, Moments(session).snapshot(event).values, equal_nan=True)


def test_a_session_from_before_there_were_moments_opens(show, tmp_path):
    session, steps = show
    old = SessionFolder(tmp_path / "old")
    old.path.mkdir()
    for path in session.path.iterdir():
        if path.is_file() and path.name != "slow_figures.jsonl":
            (old.path / path.name).write_bytes(path.read_bytes())
    assert old.manifest().format == FORMAT == 1
    assert len(Moments(old)) == 0
    assert Moments(old).snapshot(steps[-1].events[0] if steps[-1].events else lost_at(1, 1.0)) is None
    assert read_notices(old, "slow_figures", SlowFigure) == []
