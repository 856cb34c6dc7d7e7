"""Parts that stand still are noticed, told of and restarted.

Threads stand still at a gate that the test opens at the end; time is what the test says it is, but for the last test.
"""

import threading

import pytest

from monitor.app import Watch, WatchOptions, with_ports
from monitor.cli.terminal import TerminalLines
from monitor.link import SerialSource
from monitor.runtime import Pipeline
from monitor.runtime.port_record import PortRecord
from monitor.runtime.reader import PortReader
from monitor.runtime.supervision import (
    LONGEST_WAIT_S,
    REPORTED_FOR_S,
    RESTARTED_AFTER_S,
    STALLED_AFTER_S,
    SupervisedWorker,
    Watchdog,
)
from monitor.runtime.worker import Inbox, PipelineWorker
from monitor.sessions import Playback, find_sessions
from monitor.sessions.durable import AppendedFile
from monitor.sessions.pack import damage_of
from monitor.sessions.playback import STEPS_HEAD
from monitor.sessions.recorder import Recorder
from monitor.sessions.session_writer import SessionWriter
from monitor.values import Chunk, Step
from tests.link.plugs import Plug, TalkingBoard, until
from tests.runtime.streams import packed_stream, plain_layout, sine_counts
from tests.sessions.killing import piece
from tests.sessions.shows import BEGAN_AT, LAYOUT_TEXT

LIMIT_S = 60
PORT = "/dev/ttyUSB0"
DATA = packed_stream(sine_counts(0.2))


class Counting:
    """A part that goes round when it is told to."""

    def __init__(self):
        self.beats, self.begun = 0, 0

    def restart(self):
        self.begun += 1


@pytest.fixture
def gate():
    """Where threads stand still."""
    opened = threading.Event()
    yield opened
    opened.set()


def test_a_part_that_goes_round_is_left_alone_however_long():
    part = Counting()
    watch = Watchdog("pipeline", part)
    for _ in range(10_000):
        part.beats += 1
        watch.look(0.25)
    assert (part.begun, watch.still_s, watch.is_stalled, watch.trouble) == (0, 0.0, False, "")


def test_standing_still_is_told_then_begun_anew_ever_more_patiently(caplog):
    part = Counting()
    watch = Watchdog("pipeline", part, lambda: "in the middle of nowhere")
    watch.look(STALLED_AFTER_S - 0.1)
    assert not watch.is_stalled
    watch.look(0.2)
    assert watch.is_stalled
    assert "stood still" in watch.trouble
    assert "in the middle of nowhere" in caplog.text
    waits_s, waited_s = [], watch.still_s
    while len(waits_s) < 8:
        watch.look(1.0)
        waited_s += 1.0
        if part.begun > len(waits_s):
            waits_s.append(round(waited_s))
            waited_s = 0.0
    assert waits_s[0] == pytest.approx(RESTARTED_AFTER_S, abs=1)
    assert waits_s[1] == pytest.approx(2 * RESTARTED_AFTER_S, abs=1)
    assert waits_s[-1] == LONGEST_WAIT_S
    assert "restarted (8 times so far)" in watch.trouble
    for _ in range(round(REPORTED_FOR_S)):
        part.beats += 1
        watch.look(1.0)
    assert watch.trouble == ""
    assert watch.restarts == 8


class HungSource:
    """A port whose driver hangs at the second read of its first opening."""

    def __init__(self, gate):
        self.gate, self.opened, self.reads, self.hung = gate, 0, 0, threading.Event()

    def open(self):
        self.opened += 1

    def read(self):
        self.reads += 1
        if self.opened == 1 and self.reads == 2:
            self.hung.set()
            assert self.gate.wait(LIMIT_S)
            return Chunk(data=b"too late", received_s=0.5)
        threading.Event().wait(0.005)
        return Chunk(data=b"x", received_s=self.reads / 100)

    def set_baud(self, baud):
        pass

    def close(self):
        pass


def letters(inbox):
    found = []
    while (letter := inbox.take(0)) is not None:
        found.append(letter[1])
    return found


def test_a_reader_whose_driver_hangs_is_left_behind_and_hands_on_nothing_when_it_wakes(gate):
    source, inbox = HungSource(gate), Inbox()
    reader = PortReader(PortRecord(PORT, plain_layout(), 500_000), source, inbox=inbox, now_s=lambda: 1.0, baud=500_000)
    part = SupervisedWorker("reader of bench", reader)
    part.start()
    assert source.hung.wait(LIMIT_S)
    old = next(thread for thread in threading.enumerate() if thread.name == "reader of bench")
    part.look(0.0)
    part.look(RESTARTED_AFTER_S)
    assert part.health().restarts == 1
    until(lambda: source.reads > 10)
    gate.set()
    old.join(LIMIT_S)
    assert not old.is_alive()
    part.ask_to_stop()
    assert part.join(LIMIT_S)
    came = letters(inbox)
    assert b"too late" not in [letter.data for letter in came]
    # What was missed meanwhile is marked in the stream.
    assert [letter.reopened for letter in came if letter.data].count(True) == 1


class HungPipeline(Pipeline):
    """Hangs over one chunk."""

    gate = None
    hung = None

    def feed(self, port, chunk):
        if b"poison" in chunk.data:
            self.hung.set()
            assert self.gate.wait(LIMIT_S)
        return super().feed(port, chunk)


def test_a_pipeline_that_hangs_is_left_behind_and_the_bytes_are_kept_once(gate, monkeypatch):
    monkeypatch.setattr(HungPipeline, "gate", gate)
    monkeypatch.setattr(HungPipeline, "hung", threading.Event())
    inbox, steps = Inbox(joined_within_s=-1.0), []
    record = PortRecord(PORT, plain_layout(), 500_000)
    worker = PipelineWorker(
        lambda: HungPipeline(plain_layout()), inbox=inbox, sinks=[steps.append], records={PORT: record}, now_s=lambda: 1.0
    )
    part = SupervisedWorker("pipeline", worker)
    sent = (DATA, b"poison", DATA)
    for k, data in enumerate(sent):
        inbox.put(PORT, Chunk(data=data, received_s=0.2 + 0.2 * k))
    part.start()
    assert HungPipeline.hung.wait(LIMIT_S)
    old = next(thread for thread in threading.enumerate() if thread.name == "pipeline")
    part.look(0.0)
    part.look(RESTARTED_AFTER_S)
    until(lambda: sum(len(step.chunk.data) for step in steps) == sum(map(len, sent)))
    gate.set()
    old.join(LIMIT_S)
    assert not old.is_alive()
    part.ask_to_stop()
    assert part.join(LIMIT_S)
    assert [step.chunk.data for step in steps if step.chunk.data] == list(sent)
    assert [bool(step.readings) for step in steps if step.chunk.data] == [True, False, True]
    times = [step.now_s for step in steps]
    assert times == sorted(times)


def step(number):
    return Step(port="p", chunk=Chunk(data=piece(number), received_s=number / 10), now_s=number / 10)


@pytest.mark.parametrize(("does", "suffix"), [("sync", ".wire"), ("sync", ".csv"), ("write", ".wire"), ("write", ".csv")])
def test_a_disk_that_does_not_answer_loses_nothing_and_the_session_goes_on(gate, tmp_path, monkeypatch, does, suffix):
    hung, do = threading.Event(), getattr(AppendedFile, does)

    def hang_once(self, *data):
        if self.path.suffix == suffix and data != (STEPS_HEAD,) and not hung.is_set():
            hung.set()
            assert gate.wait(LIMIT_S)
        do(self, *data)  # what the system held up is done in the end

    monkeypatch.setattr(AppendedFile, does, hang_once)
    recorder = Recorder(tmp_path, LAYOUT_TEXT, began_at=BEGAN_AT, reserve_bytes=0)
    watch = Watchdog("recorder", recorder)
    recorder.put(step(0))
    assert hung.wait(LIMIT_S)
    old = recorder.thread
    for number in range(1, 20):
        recorder.put(step(number))
    watch.look(0.0)
    watch.look(RESTARTED_AFTER_S)
    assert watch.restarts == 1
    until(lambda: recorder.status().state == "recording")
    until(lambda: not recorder._waiting and not recorder._in_hand)
    assert len(list(tmp_path.iterdir())) == 1
    gate.set()
    old.join(LIMIT_S)
    assert not old.is_alive()
    recorder.put(step(20))
    recorder.close("test over")
    (session,) = find_sessions(tmp_path)
    assert b"".join(played.chunk.data for played in Playback(session)) == b"".join(piece(number) for number in range(21))
    assert list(damage_of(session)) == []


def test_a_disk_that_never_answers_does_not_keep_the_program_from_ending(gate, tmp_path, monkeypatch):
    hung = threading.Event()

    def hang(_self, _kept):
        hung.set()
        assert gate.wait(LIMIT_S)

    monkeypatch.setattr("monitor.sessions.recorder.CLOSE_WITHIN_S", 0.1)
    recorder = Recorder(tmp_path, LAYOUT_TEXT, began_at=BEGAN_AT, reserve_bytes=0)
    monkeypatch.setattr(SessionWriter, "write", hang)
    recorder.put(step(0))
    assert hung.wait(LIMIT_S)
    recorder.close("test over")
    assert "does not answer" in recorder.status().sentence
    gate.set()
    recorder.thread.join(LIMIT_S)


class HungPort(SerialSource):
    """A real port whose driver hangs once."""

    gate = None
    hung = None

    def read(self):
        if not self.hung.is_set():
            self.hung.set()
            assert self.gate.wait(LIMIT_S)
        return super().read()


def test_the_whole_watch_says_so_on_page_and_terminal_and_goes_on(gate, tmp_path, monkeypatch):
    monkeypatch.setattr("monitor.runtime.supervision.STALLED_AFTER_S", 1.0)
    monkeypatch.setattr("monitor.runtime.supervision.RESTARTED_AFTER_S", 2.0)
    monkeypatch.setattr(HungPort, "gate", gate)
    monkeypatch.setattr(HungPort, "hung", threading.Event())
    plug = Plug(tmp_path / "usb")
    board = TalkingBoard(plug)
    layout = with_ports(plain_layout(), {"bench-1": plug.device})
    watch = Watch(layout, WatchOptions(source_for=HungPort))
    lines, printed = TerminalLines(watch.clock), []
    watch.start()
    try:
        until(lambda: watch.live.picture().troubles)
        assert "stood still" in watch.live.picture().troubles[0]
        until(lambda: watch.live.picture().districts[0].volts_rms is not None)
        assert watch.parts()[0].restarts >= 1
        lines.take_parts(watch.parts(), 0)
        printed += lines.waiting()
        assert any("trouble inside the program: The reader of" in line and "restarted" in line for line in printed)
    finally:
        gate.set()
        watch.stop()
        board.stop()
        plug.pull_out()
