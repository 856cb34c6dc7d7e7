"""The whole watch over ptys: what an evening in the hall does to it."""

import threading
import time

import pytest

from monitor.app import Watch, with_ports
from monitor.errors import LayoutError
from monitor.layout import parse_layout
from monitor.sessions.recorder import RecordingStatus
from monitor.values import Action, FindingKind
from tests.layout.fernhollow import FERNHOLLOW
from tests.link.plugs import Plug, TalkingBoard, until
from tests.runtime.streams import plain_layout
from tests.runtime.test_live_time import TWO


class Kept:
    """A recorder in memory."""

    def __init__(self):
        self.steps, self.reason = [], None

    def put(self, step):
        self.steps.append(step)

    def status(self):
        return RecordingStatus(state="recording", sentence="Keeping", folder=None, dropped_bytes=0, dropped_readings=0)

    def close(self, reason):
        self.reason = reason


@pytest.fixture
def bench(tmp_path):
    """Plugs, boards and watches that are put away at the end."""
    made = []

    class Bench:
        def plug(self, name="usb"):
            return Plug(tmp_path / name)

        def board(self, plug, **how):
            made.append(TalkingBoard(plug, **how))
            return made[-1]

        def watch(self, layout, recorder=None):
            watch = Watch(layout, recorder=recorder)
            made.append(watch)
            watch.start()
            return watch

    yield Bench()
    for thing in reversed(made):
        thing.stop()


def district(watch, name="Outer main"):
    return next(d for d in watch.live.picture().districts if d.name == name)


def readings(kept):
    return [block for step in kept.steps for block in step.readings]


def state(watch, port=0):
    return watch.statuses()[port].state


def test_a_board_is_read_shown_and_kept(bench):
    plug, kept = bench.plug(), Kept()
    bench.board(plug)
    watch = bench.watch(with_ports(plain_layout(), {"bench-1": plug.device}), kept)
    until(lambda: state(watch) == "reading" and len(readings(kept)) > 5 and watch.live.picture().ports)
    (status,) = watch.statuses()
    assert (status.board, status.names) == ("bench-1", ("bench-1",))
    # The board sends sines of 15 V and 12 V RMS.
    assert district(watch).volts_rms == pytest.approx(15.0, abs=0.2)
    assert district(watch, "Town lights").volts_rms == pytest.approx(12.0, abs=0.2)
    until(lambda: 0 <= district(watch).age_s < 0.5)
    mark = Action(kind="mark", at_s=watch.clock.now_s(), text="cleaned rails")
    watch.operate(mark)
    until(lambda: any(mark in step.actions for step in kept.steps))
    watch.stop("test over")
    assert kept.reason == "test over"
    assert watch.live.picture().recording == "Keeping"
    raw = b"".join(step.chunk.data for step in kept.steps if step.port == plug.device)
    assert len(raw) == watch.statuses()[0].bytes
    assert [part.failures for part in watch.parts()] == [0, 0, 0]
    times = [step.now_s for step in kept.steps]
    assert times == sorted(times)


def test_a_board_unplugged_and_plugged_in_again_and_again(bench):
    plug, kept = bench.plug(), Kept()
    watch = bench.watch(with_ports(plain_layout(), {"bench-1": plug.device}), kept)
    threads = None
    for round_ in range(5):
        board = bench.board(plug)
        until(lambda: state(watch) == "reading")
        before = len(readings(kept))
        until(lambda before=before: len(readings(kept)) > before + 3)
        threads = threads or threading.active_count()
        board.stop()
        plug.pull_out()
        until(lambda: state(watch) == "lost")
        assert "plug it in again" in watch.statuses()[0].sentence
        if round_ < 4:
            plug.plug_in()
    assert threading.active_count() <= threads
    gaps = {f.id: f for step in kept.steps for f in step.findings if f.kind is FindingKind.GAP}
    assert gaps
    ends_s = [end_s for block in readings(kept) for end_s in block.end_s.tolist()]
    assert ends_s == sorted(ends_s)
    assert watch.parts()[0].failures == 0


def test_data_grows_old_while_the_board_says_nothing(bench):
    plug, kept = bench.plug(), Kept()
    board = bench.board(plug)
    watch = bench.watch(with_ports(plain_layout(), {"bench-1": plug.device}), kept)
    until(lambda: state(watch) == "reading" and readings(kept))
    board.stop()
    until(lambda: state(watch) == "silent")
    assert district(watch).age_s > 1.5
    until(lambda: kept.steps[-1].now_s == pytest.approx(watch.clock.now_s(), abs=0.5))
    assert "says nothing" in watch.statuses()[0].sentence


def test_a_port_that_is_not_there_yet(bench, tmp_path):
    plug = bench.plug()
    plug.pull_out()
    watch = bench.watch(with_ports(plain_layout(), {"bench-1": str(tmp_path / "usb")}))
    until(lambda: "There is no port" in watch.statuses()[0].sentence)
    assert state(watch) == "opening"
    plug.plug_in()
    bench.board(plug)
    until(lambda: state(watch) == "reading")


def test_two_boards_at_once(bench):
    plugs, kept = [bench.plug("usb0"), bench.plug("usb1")], Kept()
    bench.board(plugs[0], name="bench-1")
    bench.board(plugs[1], name="bench-2", volts_rms=(9.0, 9.0))
    ports = {"bench-1": plugs[0].device, "bench-2": plugs[1].device}
    watch = bench.watch(with_ports(parse_layout(TWO), ports), kept)
    until(lambda: district(watch, "Town lights").volts_rms is not None and district(watch).volts_rms is not None)
    assert district(watch).volts_rms == pytest.approx(15.0, abs=0.2)
    assert district(watch, "Town lights").volts_rms == pytest.approx(9.0, abs=0.2)
    until(lambda: [status.state for status in watch.statuses()] == ["reading", "reading"])


def test_nonsense_on_the_line_is_told_from_a_board(bench):
    plug = bench.plug()
    watch = bench.watch(with_ports(plain_layout(), {"bench-1": plug.device}))
    sent_s = time.monotonic()

    def told():
        plug.send(b"\x93\xff\x07\x81" * 8)
        return state(watch) == "wrong-baud"

    until(told)
    assert time.monotonic() - sent_s > 2
    assert "baud" in watch.statuses()[0].sentence


def test_what_cannot_be_watched_is_said_at_once():
    with pytest.raises(LayoutError, match=r'board "bench-1", key port: this key is missing.*--port bench-1=DEVICE'):
        Watch(parse_layout(FERNHOLLOW.replace('port = "/dev/ttyUSB0"\n', "")))
    with pytest.raises(LayoutError, match='there is no board "bench-9" to give a port to: the layout has bench-1'):
        with_ports(plain_layout(), {"bench-9": "/dev/ttyUSB0"})
    with pytest.raises(LayoutError, match=r"no \[\[board\]\] table"):
        Watch(parse_layout('title = "empty"\n[mains]\nvolts = 120\nhertz = 60\n'))
    twice = TWO.replace("/dev/ttyUSB1", "/dev/ttyUSB0").replace('name = "bench-2"', 'name = "bench-2"\nnumber = 1\nbaud = 9600')
    with pytest.raises(LayoutError, match="different baud rates"):
        Watch(parse_layout(twice))
