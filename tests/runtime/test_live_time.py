"""The pipeline with boards' own clocks and the host's: what a live watch sees."""

import itertools

import numpy as np
import pytest

from monitor.layout import parse_layout
from monitor.link import BoardClock
from monitor.runtime import Pipeline
from monitor.values import Chunk, FindingKind
from tests.layout.fernhollow import FERNHOLLOW
from tests.runtime.streams import INTERVAL_S, packed_stream, plain_layout, sine_counts
from tests.wire.bytestreams import health_packet, identity, identity_packet, samples_packet

PORT = "/dev/ttyUSB0"
PACKET_SCANS = 30
DELAY_S = 0.004


class HostedBoard:
    """A board whose packets arrive at host times; the board may start anew at any time."""

    def __init__(self, *, starts_s=0.0, name="bench-1", number=0, off=1.0):
        self._made = identity(channels=4, name=name, number=number)
        self._starts_s = starts_s
        self._off = off
        self._counts = sine_counts(2.0)

    def chunks(self, seconds, *, reopened=False):
        """Pairs (received_s, chunk) of a run of so many seconds from the board's start."""
        packets = int(seconds / self._off / INTERVAL_S) // PACKET_SCANS
        for k in range(packets):
            rows = np.arange(k * PACKET_SCANS, (k + 1) * PACKET_SCANS) % len(self._counts)
            data = samples_packet(k * PACKET_SCANS, self._counts[rows], (2 + k) & 0xFFFF, self._made.number)
            if k % 40 == 0:
                data = b"\0" + identity_packet(self._made, 0) + health_packet(0.0, 1, self._made.number) + data
            at_s = self._starts_s + (k + 1) * PACKET_SCANS * INTERVAL_S * self._off + DELAY_S
            yield at_s, Chunk(data=data, received_s=at_s, reopened=reopened and k == 0)


def live(layout=None):
    return Pipeline(layout or plain_layout(), clock_for_board=lambda _board: BoardClock())


def ends(steps):
    return np.concatenate([block.end_s for step in steps for block in step.readings])


def findings(steps, kind):
    return list({f.id: f for step in steps for f in step.findings if f.kind is kind}.values())


def test_readings_carry_the_hosts_time():
    pipeline = live()
    steps = [pipeline.feed(PORT, chunk) for _, chunk in HostedBoard(starts_s=100.0, off=1.004).chunks(20.0)]
    assert ends(steps)[0] == pytest.approx(100.0, abs=0.05)
    assert ends(steps)[-1] == pytest.approx(120.0, abs=0.06)
    assert (np.diff(ends(steps)) > 0).all()
    assert steps[-1].now_s == pytest.approx(steps[-1].chunk.received_s, abs=0.01)
    # Samples join without a seam in the stream's time too.
    blocks = [block for step in steps for block in step.samples]
    for before, after in itertools.pairwise(blocks):
        assert after.start_s == pytest.approx(before.end_s, abs=1e-6)


def test_ticks_let_time_pass_when_nothing_comes():
    pipeline = live()
    for _, chunk in HostedBoard().chunks(1.0):
        pipeline.feed(PORT, chunk)
    assert pipeline.feed(PORT, Chunk(data=b"", received_s=9.5)).now_s == 9.5
    assert pipeline.feed("", Chunk(data=b"", received_s=10.0)).now_s == 10.0


@pytest.mark.parametrize("reopened", [True, False], ids=["unplugged", "restarted by itself"])
def test_a_board_that_was_away_for_40_s_goes_on_at_the_hosts_time(reopened):
    pipeline = live()
    before = [pipeline.feed(PORT, chunk) for _, chunk in HostedBoard().chunks(10.0)]
    ticks = [pipeline.feed(PORT, Chunk(data=b"", received_s=10.0 + 0.1 * k)) for k in range(400)]
    assert ticks[-1].now_s == pytest.approx(49.9)
    after = [pipeline.feed(PORT, chunk) for _, chunk in HostedBoard(starts_s=50.0).chunks(5.0, reopened=reopened)]
    assert ends(before)[-1] == pytest.approx(10.0, abs=0.05)
    # What the meter still held of the last cycle before comes with the first bytes after, at its own time.
    held = ends(after) < 11.0
    assert held.sum() <= 2
    assert ends(after)[~held][0] == pytest.approx(50.0, abs=0.05)
    assert ends(after)[-1] == pytest.approx(55.0, abs=0.06)
    (away,) = findings(after, FindingKind.GAP if reopened else FindingKind.RESTART)
    assert (away.start_s, away.end_s) == (pytest.approx(10.0, abs=0.05), pytest.approx(50.0, abs=0.05))
    if reopened:
        assert away.count == pytest.approx(40.0 / INTERVAL_S, rel=0.01)


def test_a_line_board_that_was_away_goes_on_at_the_hosts_time():
    pipeline, steps = live(), []
    for start_s, reopened in ((0.0, False), (30.0, True), (60.0, False)):
        for k in range(100):
            line = b"r,%d,0,15.00,3.00\nr,%d,1,12.00,1.00\n" % (100 * k, 100 * k)
            steps.append(pipeline.feed(PORT, Chunk(data=line, received_s=start_s + 0.1 * k, reopened=reopened and k == 0)))
    times = ends(steps)
    assert times[[0, 99, 100, 199, 200, 299]] == pytest.approx([0.0, 9.9, 30.0, 39.9, 60.0, 69.9], abs=0.02)
    assert len(findings(steps, FindingKind.GAP)) == 1
    assert len(findings(steps, FindingKind.RESTART)) == 1


def test_twenty_times_away_leaves_time_right_and_state_small():
    pipeline, last = live(), None
    for round_ in range(20):
        for _, chunk in HostedBoard(starts_s=3.0 * round_).chunks(1.0, reopened=round_ > 0):
            step = pipeline.feed(PORT, chunk)
            last = step if step.readings else last
    assert ends([last])[-1] == pytest.approx(3.0 * 19 + 1.0, abs=0.05)


TWO = (
    FERNHOLLOW.split("[calibration")[0]
    .replace("far_volts_channel = 4\n", "")
    .replace('[[supply]]\nname = "North', '[[board]]\nname = "bench-2"\nport = "/dev/ttyUSB1"\n\n[[supply]]\nname = "North', 1)
    .replace(
        'output = "B"\nboard = "bench-1"\nvolts_channel = 2\namps_channel = 3',
        'output = "B"\nboard = "bench-2"\nvolts_channel = 0\namps_channel = 1',
    )
)


def test_two_boards_whose_plugs_were_swapped_keep_their_districts():
    pipeline = live(parse_layout(TWO))
    steps = []
    for port, name in (("/dev/ttyUSB1", "bench-1"), ("/dev/ttyUSB0", "bench-2")):
        steps += [pipeline.feed(port, chunk) for _, chunk in HostedBoard(name=name).chunks(1.0)]
    by_port = {step.port: {block.board for s in steps if s.port == step.port for block in s.readings} for step in steps}
    assert by_port == {"/dev/ttyUSB1": {"bench-1"}, "/dev/ttyUSB0": {"bench-2"}}


def test_two_boards_swapped_while_watching():
    pipeline = live(parse_layout(TWO))
    ports = ("/dev/ttyUSB0", "/dev/ttyUSB1")
    steps = []
    for starts_s, names in ((0.0, ("bench-1", "bench-2")), (20.0, ("bench-2", "bench-1"))):
        for port, name in zip(ports, names, strict=True):
            board = HostedBoard(starts_s=starts_s, name=name)
            steps.append([pipeline.feed(port, chunk) for _, chunk in board.chunks(1.0, reopened=starts_s > 0)])
    boards = [{block.board for step in run for block in step.readings} for run in steps]
    assert boards == [{"bench-1"}, {"bench-2"}, {"bench-2"}, {"bench-1"}]


def test_two_boards_of_one_name_do_not_run_into_one():
    pipeline = live(parse_layout(TWO))
    runs = [
        [pipeline.feed(port, chunk) for _, chunk in HostedBoard(name="bench-1").chunks(1.0)]
        for port in ("/dev/ttyUSB0", "/dev/ttyUSB1")
    ]
    assert [{block.board for step in run for block in step.readings} for run in runs] == [{"bench-1"}, {"bench-2"}]
    assert packed_stream(sine_counts(0.1))
