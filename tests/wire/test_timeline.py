import itertools
from unittest import mock

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.values import SampleBlock
from monitor.wire import SampleRun, thresholds
from monitor.wire.timeline import Hole, MillisecondTimeline, ScanTimeline
from tests.wire.bytestreams import counts, identity

INTERVAL_S = 832e-6


def run(first, scans=15):
    return SampleRun(number=0, first_scan=first % 2**32, counts=counts(scans, 8))


def test_time_starts_at_zero_wherever_the_scan_index_stands():
    (block,) = ScanTimeline("b").place(run(123_456), identity())
    assert (block.start_s, block.first_scan, block.continues) == (0.0, 0, False)


def test_time_goes_on_over_the_wrap_of_the_index():
    timeline = ScanTimeline("b")
    timeline.place(run(2**32 - 15), identity())
    (block,) = timeline.place(run(0), identity())
    assert block.continues
    assert block.start_s == pytest.approx(15 * INTERVAL_S)


def test_a_gap_moves_time_on_and_breaks_continuity():
    timeline = ScanTimeline("b")
    timeline.place(run(0), identity())
    hole, block = timeline.place(run(45), identity())
    assert hole == Hole(kind="gap", start_s=pytest.approx(15 * INTERVAL_S), end_s=pytest.approx(45 * INTERVAL_S), scans=30)
    assert (block.first_scan, block.continues) == (45, False)


def test_a_fall_back_to_near_zero_is_a_restart():
    timeline = ScanTimeline("b")
    timeline.place(run(100_000), identity())
    hole, block = timeline.place(run(0), identity())
    assert hole.kind == "restart"
    assert block.start_s == pytest.approx(15 * INTERVAL_S)


def test_scans_that_come_twice_are_dropped():
    timeline = ScanTimeline("b")
    for first in (100_000, 100_015):
        timeline.place(run(first), identity())
    (hole,) = timeline.place(run(100_000), identity())
    assert hole.kind == "repeat"
    (block,) = timeline.place(run(100_030), identity())
    assert isinstance(block, SampleBlock)
    assert block.continues


@given(st.lists(st.integers(1, 40), min_size=1, max_size=20), st.integers(0, 2**32 - 1))
def test_board_time_never_falls(steps, start):
    timeline, first, last = ScanTimeline("b"), start, -1.0
    for step in steps:
        for placed in timeline.place(run(first, 3), identity()):
            assert placed.start_s >= last
            last = placed.start_s
        first += step * 3


def test_milliseconds_unwrap_and_survive_a_restart():
    timeline = MillisecondTimeline()
    wrap = 2**32
    assert timeline.place(np.array([wrap - 100, wrap - 100, 0, 100])).tolist() == pytest.approx([0, 0, 0.1, 0.2])
    late = MillisecondTimeline()
    late.place(np.array([500_000]))
    assert late.place(np.array([100, 200])).tolist() == pytest.approx([0.0, 0.1])
    assert late.restarts == 1


def test_a_damaged_digit_in_one_time_moves_nothing():
    """A line without a checksum whose time reads half a minute ahead, or far back, between good ones."""
    timeline = MillisecondTimeline()
    times = [527_852, 527_952, 557_952, 528_052, 27_152, 528_152]
    assert timeline.place(np.array(times)).tolist() == pytest.approx([0.0, 0.1, 0.1, 0.2, 0.2, 0.3])
    assert timeline.restarts == 0


def test_a_gap_counts_once_the_next_line_agrees_however_it_is_cut():
    times = np.array([1000, 1100, 1200, 61_200, 61_300, 61_400])
    expected = [0.0, 0.1, 0.2, 0.2, 60.3, 60.4]
    assert MillisecondTimeline().place(times).tolist() == pytest.approx(expected)
    single = MillisecondTimeline()
    assert [float(single.place(times[k : k + 1])[0]) for k in range(len(times))] == pytest.approx(expected)


class PlainMilliseconds:
    """The rules of a line board's time, line by line."""

    def __init__(self):
        self.last = self.leapt = None
        self.round = self.restarts = 0
        self.end_s = 0.0

    def reopen(self, at_s):
        self.last = self.leapt = None
        self.end_s = max(self.end_s, at_s)

    def is_leap(self, step):
        return step < -1000 or (self.round > 0 and step > 1000 + 3 * self.round)

    def place(self, now, resumes_s):
        def since(before):
            return (now - before + 2**31) % 2**32 - 2**31

        if self.last is None:
            self.last = now
        elif not self.is_leap(since(self.last)):
            if self.leapt is None and since(self.last) > 0:
                self.round = since(self.last)
            self.end_s += since(self.last) / 1000
            self.last, self.leapt = now, None
        elif self.leapt is None or self.is_leap(since(self.leapt)):
            self.leapt = now
        else:
            leap = (self.leapt - self.last + 2**31) % 2**32 - 2**31
            if leap < -1000 and self.leapt < 30_000:
                self.restarts += 1
                self.end_s = max(self.end_s, resumes_s or 0.0)
                leap = 0
            self.end_s += (leap + since(self.leapt)) / 1000
            self.last, self.leapt = now, None
        return self.end_s


@st.composite
def board_times(draw):
    """Rounds of lines, at times late, out of order, damaged, after a gap or after a restart; and the wrap."""
    now, step = (
        draw(st.sampled_from([0, 5, 29_000, 31_000, 500_000, 2**32 - 900, 2**31 - 300])),
        draw(st.sampled_from([1, 7, 100, 200, 900])),
    )
    times = []
    for kind in draw(st.lists(st.sampled_from(["round"] * 12 + ["back", "ahead", "gap", "restart", "damage"]), max_size=60)):
        offset = draw(
            st.sampled_from(
                [*{"back": (-1, -step, -1000, -1001), "ahead": (999, 1000 + 3 * step, 1001 + 3 * step)}.get(kind, (step,))]
            )
        )
        now += draw(st.integers(0, 2**32 - 1)) if kind == "gap" else offset
        now = draw(st.integers(0, 31_000)) if kind == "restart" else now
        times += [(now + draw(st.integers(0, 3))) % 2**32 for _ in range(draw(st.integers(1, 5)))]
        if kind == "damage":
            times[-1] = draw(st.integers(0, 2**32 - 1))
    return times


@given(
    times=board_times(),
    few=st.sampled_from([1, 2, 5, 48]),
    cuts=st.lists(st.integers(0, 300), max_size=4),
    resumes_s=st.none() | st.floats(0, 900),
)
def test_times_placed_at_once_are_as_placed_one_by_one(times, few, cuts, resumes_s):
    plain, many = PlainMilliseconds(), MillisecondTimeline()
    edges = [0, *sorted(cut % (len(times) + 1) for cut in cuts), len(times)]
    for number, (start, end) in enumerate(itertools.pairwise(edges)):
        restarts = [plain.restarts]
        expected = []
        for time_ms in times[start:end]:
            expected.append(plain.place(time_ms, resumes_s))
            restarts.append(plain.restarts)
        with mock.patch.object(thresholds, "FEW_LINES", few):
            placed = many.place(np.array(times[start:end], dtype=np.int64), resumes_s)
        assert placed.tobytes() == np.array(expected).tobytes()
        assert (many.end_s, many.restarts) == (plain.end_s, plain.restarts)
        assert many.restarts_at == np.flatnonzero(np.diff(restarts)).tolist()
        if number == 1:
            at_s = plain.end_s + 3.0
            plain.reopen(at_s)
            many.reopen(at_s)
