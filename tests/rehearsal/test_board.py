"""The board on its pty: whole packets at the right pace, unplugged and plugged in again, nobody reading."""

import errno
import os
import time
from itertools import pairwise

import pytest

from monitor.layout import parse_layout
from monitor.rehearsal import RehearsalBoard, demo_layout_text, fernhollow_show, random_scene
from monitor.values import Health, Identity
from monitor.wire import Fault, PackedDecoder, SampleRun


def listen(path, seconds=60.0, enough_bytes=None):
    """Bytes that come within some seconds, or until there are enough; stops where the port goes away."""
    port = os.open(path, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
    data, until = b"", time.monotonic() + seconds
    try:
        while time.monotonic() < until and (enough_bytes is None or len(data) < enough_bytes):
            try:
                data += os.read(port, 65536)
            except BlockingIOError:
                time.sleep(0.01)
            except OSError:
                break
    finally:
        os.close(port)
    return data


def decoded(data):
    items = PackedDecoder().feed(data)
    return items, [item for item in items if isinstance(item, SampleRun)], [item for item in items if isinstance(item, Fault)]


def first_scans_follow(runs):
    return all((b.first_scan - a.first_scan) == len(a.counts) for a, b in pairwise(runs))


def test_demo_streams_at_the_pace_of_a_real_board():
    with RehearsalBoard(fernhollow_show()) as board:
        items, runs, faults = decoded(listen(board.port, 3.0))
    assert board.failure is None
    assert faults == []
    assert first_scans_follow(runs)
    seconds = sum(len(run.counts) for run in runs) * 832e-6
    assert 1.0 < seconds < 3.3  # never ahead of the clock; a busy computer may be behind it
    assert sum(isinstance(item, Identity) for item in items) == pytest.approx(seconds, abs=1)
    assert sum(isinstance(item, Health) for item in items) == pytest.approx(seconds, abs=1)


def test_a_reader_that_comes_late_gets_whole_packets_only(monkeypatch):
    monkeypatch.setattr("monitor.rehearsal.board.BACKLOG_BYTES_LIMIT", 4096)
    board = RehearsalBoard(fernhollow_show(), speed=20)
    board.start()
    until = time.monotonic() + 120
    while board.packets_dropped <= 50 and time.monotonic() < until:
        time.sleep(0.02)
    assert board.packets_dropped > 50
    _, runs, faults = decoded(b"\0" + listen(board.port, enough_bytes=60_000))
    board.stop()
    assert faults == []
    assert sum(len(run.counts) for run in runs) > 300


def test_unplugged_and_plugged_in_again_under_the_same_path():
    with RehearsalBoard(fernhollow_show(), speed=5) as board:
        path = board.port
        assert listen(path, enough_bytes=1)
        board.unplug()
        assert not os.path.lexists(path)
        time.sleep(0.2)
        board.plug_in()
        assert board.port == path
        _, runs, faults = decoded(b"\0" + listen(path, enough_bytes=60_000))
    assert sum(len(run.counts) for run in runs) > 100
    assert faults == []
    assert not os.path.lexists(path)


def test_whoever_has_the_port_open_sees_it_go():
    with RehearsalBoard(fernhollow_show()) as board:
        port = os.open(board.port, os.O_RDONLY | os.O_NOCTTY)
        board.unplug()
        try:
            while os.read(port, 4096):
                pass
        except OSError as error:
            assert error.errno == errno.EIO
        os.close(port)


def test_a_scene_is_sent_once_through():
    scene = random_scene("clean", 2)
    board = RehearsalBoard(scene, speed=20)
    board.start()
    _, runs, _ = decoded(listen(board.port, enough_bytes=8_000))
    board.stop()
    assert first_scans_follow(runs)
    assert runs[0].first_scan == 0


def test_many_boards_share_one_layout_file():
    layout = parse_layout(demo_layout_text([f"/dev/ttyUSB{n}" for n in range(4)]))
    assert len(layout.district) == 16
    assert len({district.name for district in layout.district}) == 16
    assert [board.number for board in layout.board] == [0, 1, 2, 3]
    assert fernhollow_show(3).next_part().packets[1] != fernhollow_show(2).next_part().packets[1]
