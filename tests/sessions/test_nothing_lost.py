"""A recording survives kills, cuts, a full disk and a folder that is taken away."""

# ruff: noqa: S311 - moments that are known, not secret

import contextlib
import errno
import json
import os
import random
import shutil
import subprocess
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime

import pandas as pd
import pytest

from monitor.errors import SessionFullError
from monitor.sessions import Playback, SessionFolder, find_sessions
from monitor.sessions.description import new_manifest
from monitor.sessions.durable import AppendedFile
from monitor.sessions.pack import damage_of
from monitor.sessions.recorder import Recorder
from monitor.sessions.recording import kept_of
from monitor.sessions.recovery import recover
from monitor.sessions.session_writer import SessionWriter
from monitor.values import Action, Chunk, Step
from tests.runtime.streams import packed_stream, sine_counts
from tests.sessions.killing import kill_once, piece
from tests.sessions.shows import BEGAN_AT, LAYOUT_TEXT, record

KILLS = 12


def test_killed_at_random_moments_loses_at_most_the_last_second(tmp_path):
    moments = random.Random(6).sample(range(50, 2500), KILLS)

    def kill(k):
        return kill_once(tmp_path / str(k), moments[k] / 1000)

    with ThreadPoolExecutor(3) as pool:
        assert [trouble for trouble in pool.map(kill, range(KILLS)) if trouble] == []


@pytest.fixture(scope="module")
def cut_off(tmp_path_factory):
    """A session as a power cut leaves it: nothing sealed, nothing closed."""
    recordings = tmp_path_factory.mktemp("cut")
    recorder, _steps = record(recordings, packed_stream(sine_counts(4.0)), 4.0, marks=[(20, "a"), (120, "b")], close=False)
    recorder._wake.set()
    recorder._thread.join()
    recorder._write_waiting()
    recorder._writer.sync()
    recorder._writer.abandon()
    return next(find_sessions(recordings)).path


@pytest.fixture(scope="module")
def closed(tmp_path_factory):
    recordings = tmp_path_factory.mktemp("closed")
    record(recordings, packed_stream(sine_counts(4.0)), 4.0, marks=[(20, "a"), (120, "b")])
    return next(find_sessions(recordings)).path


def data_of(path):
    return b"".join(played.chunk.data for played in Playback(SessionFolder(path)))


@pytest.mark.parametrize("state", ["cut_off", "closed"])
def test_files_cut_at_random_bytes_keep_what_is_before_the_cut(state, request, tmp_path):
    original = request.getfixturevalue(state)
    whole = data_of(original)
    dice = random.Random(11)
    for k in range(30):
        path = tmp_path / str(k)
        shutil.copytree(original, path)
        files = [file for file in sorted(path.rglob("*")) if file.is_file() and file.name not in ("manifest.json", "layout.toml")]
        cut = dice.choice(files)
        size = cut.stat().st_size
        os.truncate(cut, dice.randrange(size))
        (path / "closing.json").unlink(missing_ok=True)
        recover(SessionFolder(path))
        if cut.parent.name != "raw":
            assert data_of(path) == whole, cut
        else:
            assert whole.startswith(data_of(path)), cut
        if list((path / "readings").glob("*.parquet")):
            assert len(pd.read_parquet(path / "readings"))


def step(number, at_s, **options):
    return Step(port="p", chunk=Chunk(data=piece(number) * 50, received_s=at_s), now_s=at_s, **options)


def wait_for(condition, seconds=60.0):
    until_s = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < until_s, "it did not happen in time"
        time.sleep(0.02)


@contextlib.contextmanager
def small_disk(folder):
    """A disk of four megabytes, most of it taken; gives the folder and what makes room. For whoever may mount one."""
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", folder], check=True, capture_output=True)
    try:
        ballast = folder / "ballast"
        ballast.write_bytes(bytes(3_700_000))
        yield ballast.unlink
    finally:
        subprocess.run(["umount", "-l", folder], check=True)


@contextlib.contextmanager
def failing_writes(monkeypatch):
    """The same for whoever may not: after 300 kB every write fails as on a full disk, part of it written."""
    room = [300_000]
    write = AppendedFile.write

    def write_while_there_is_room(self, data):
        room[0] -= len(data)
        if room[0] < 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        write(self, data)

    monkeypatch.setattr(AppendedFile, "write", write_while_there_is_room)
    yield lambda: room.__setitem__(0, 10**9)


@pytest.fixture(params=["a disk", "writes"])
def disk(request, tmp_path, monkeypatch):
    """A folder on a disk that is soon full, and what makes room on it."""
    folder = tmp_path / "disk"
    folder.mkdir()
    with contextlib.ExitStack() as stack:
        try:
            make_room = stack.enter_context(small_disk(folder)) if request.param == "a disk" else None
        except (subprocess.CalledProcessError, OSError):
            make_room = None
        yield folder, make_room or stack.enter_context(failing_writes(monkeypatch))


def test_a_full_disk_stops_recording_and_room_starts_it_again(disk, monkeypatch, caplog):
    monkeypatch.setattr("monitor.sessions.recorder.RETRY_S", 0.5)
    folder, make_room = disk
    recordings = folder / "recordings"
    recorder = Recorder(recordings, LAYOUT_TEXT, began_at=BEGAN_AT, reserve_bytes=20_000)
    put = []

    def put_one(**options):
        put.append(piece(len(put) + 1) * 50)
        recorder.put(step(len(put), len(put) * 0.1, **options))

    def full():
        put_one()
        return recorder.status().state == "stopped"

    wait_for(full)
    status = recorder.status()
    assert (status.is_well, "full" in status.sentence) == (False, True)
    put_one(actions=(Action(kind="mark", at_s=1.0, text="while it was full"),))
    time.sleep(0.6)
    make_room()
    wait_for(lambda: recorder.status().state == "recording")
    put_one()
    recorder.close()
    assert [line for line in caplog.messages if "full" in line or "goes on" in line][-1].startswith("recording goes on in ")
    # What came while the disk was full waited in memory, and the same session goes on with it: each byte once.
    (session,) = find_sessions(recordings)
    assert data_of(session.path) == b"".join(put)
    assert "while it was full" in session.notices("actions").read_text()
    assert recorder.status().dropped_bytes == 0
    assert session.closing().raw_bytes == {"1": len(b"".join(put))}
    assert list(damage_of(session)) == []


def test_a_folder_taken_away_is_noticed_and_a_new_one_begun(tmp_path, monkeypatch):
    recorder = Recorder(tmp_path / "recordings", LAYOUT_TEXT, began_at=BEGAN_AT, reserve_bytes=0)
    recorder.put(step(1, 0.1))
    first = recorder.status().folder
    shutil.rmtree(tmp_path / "recordings")
    wait_for(lambda: recorder.status().folder not in (None, first) or recorder.status().state == "stopped")
    wait_for(lambda: recorder.status().state == "recording")
    recorder.put(step(2, 0.2))
    recorder.close()
    assert data_of(recorder.status().folder).endswith(piece(2) * 50)


def test_nothing_to_write_to_is_one_plain_sentence(tmp_path):
    (tmp_path / "recordings").write_text("a file where the folder should be")
    with pytest.raises(SessionFullError, match="--no-record"):
        Recorder(tmp_path / "recordings", LAYOUT_TEXT, began_at=BEGAN_AT)


def test_a_clock_set_back_disorders_nothing(tmp_path):
    for began_at in (BEGAN_AT, BEGAN_AT, datetime(2019, 1, 1, tzinfo=UTC)):
        recorder = Recorder(tmp_path, LAYOUT_TEXT, began_at=began_at, reserve_bytes=0)
        recorder.put(step(1, 0.1))
        recorder.close()
    sessions = list(find_sessions(tmp_path))
    assert len({session.name for session in sessions}) == 3
    times = [session.manifest().began_at for session in sessions]
    assert times == sorted(times)


def test_a_slow_disk_drops_readings_before_bytes_and_never_what_was_said(tmp_path, monkeypatch):
    monkeypatch.setattr("monitor.sessions.recorder.QUEUE_LIMIT_BYTES", 200_000)
    pipeline_steps = record(tmp_path / "live", packed_stream(sine_counts(1.0)), 1.0)[1]
    readings = next(s.readings for s in pipeline_steps if s.readings)
    recorder = Recorder(tmp_path / "slow", LAYOUT_TEXT, began_at=BEGAN_AT, reserve_bytes=0)
    dropped_bytes_when_readings_went = None
    monkeypatch.setattr(recorder, "_write_waiting", lambda: None)
    for k in range(40):
        marks = (Action(kind="mark", at_s=k / 10, text=str(k)),)
        recorder.put(step(k, k / 10, readings=readings, actions=marks))
        if recorder.status().dropped_readings and dropped_bytes_when_readings_went is None:
            dropped_bytes_when_readings_went = recorder.status().dropped_bytes
    monkeypatch.undo()
    wait_for(lambda: not recorder._waiting)
    recorder.put(step(40, 4.0))
    recorder.close()
    assert dropped_bytes_when_readings_went == 0
    assert recorder.status().dropped_bytes > 0
    session = next(find_sessions(tmp_path / "slow"))
    assert [action.text for played in Playback(session) for action in played.actions] == [str(k) for k in range(40)]
    losses = [json.loads(line) for line in session.notices("losses").read_text().splitlines()]
    assert sum(loss["bytes"] for loss in losses) == recorder.status().dropped_bytes


def test_a_thread_that_wakes_after_another_took_over_writes_nothing_that_counts(tmp_path):
    """Every byte that was put is in the session once, whatever the first thread still does before the parts are compressed."""

    def batch(k):
        return [kept_of(Step(port="port", chunk=Chunk(data=piece(k) * 50, received_s=k / 10), now_s=k / 10))]

    left = SessionWriter.begin(tmp_path / "session", LAYOUT_TEXT, new_manifest("Show", BEGAN_AT, ports={}, invented=True))
    first, second = batch(1), batch(2)
    left.write(first)
    gate = threading.Event()
    left._compactor.add(gate.wait)
    left._raw[1].write(b"half a batch")
    assert left.leave(second)
    new = left.successor()
    with (tmp_path / "session" / "raw").joinpath(left._raw[1].file.path.name).open("ab") as late:
        late.write(b"too late")
    left._raw[1].file.whole_bytes = 10**6
    for wakes in (lambda: left.write([]), left.next_part, lambda: left._notice_file("losses"), lambda: left._raw_log(2)):
        with pytest.raises((OSError, ValueError), match=r"taken over|closed file"):
            wakes()
    gate.set()
    new.write(second)
    assert not new.leave(second)
    newest = new.successor()
    newest.close("test")
    session = SessionFolder(tmp_path / "session")
    assert data_of(session.path) == piece(1) * 50 + piece(2) * 50
    assert list(damage_of(session)) == []
    assert session.closing().raw_bytes == {"1": 50 * len(piece(1) + piece(2))}
