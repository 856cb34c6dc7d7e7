"""Boards with lines of their own through the whole pipeline: by their clock, by arrival, by their usual interval."""

import itertools

import numpy as np
import pytest

from monitor.cli.sift import sift_capture
from monitor.errors import CaptureError
from monitor.layout import parse_layout
from monitor.link import BoardClock
from monitor.runtime import Pipeline
from monitor.values import Chunk, FindingKind, JoinedChunk
from tests.layout.fernhollow import FERNHOLLOW

PORT = "/dev/ttyUSB0"


def layout_with(lines):
    text = FERNHOLLOW.split("[calibration")[0].replace("far_volts_channel = 4\n", "")
    outputs = "[[board.lines.output]]\nvolts = 1\namps = 2\n[[board.lines.output]]\nvolts = 3\namps = 4\n"
    return parse_layout(text.replace("baud = 500000\n", f'baud = 115200\n[board.lines]\nform = "values"\n{lines}{outputs}'))


def column(steps, name):
    return np.concatenate([getattr(block, name) for step in steps for block in step.readings])


def line(k):
    return f"{15 + k % 5 / 10:.1f},2.{k % 10},12.0,0.5\n".encode()


def test_lines_without_a_clock_stand_at_their_arrival():
    layout = layout_with("")
    pipeline = Pipeline(layout, clock_for_board=lambda _: BoardClock())
    came = [10.0, 10.5, 11.0, 15.0, 15.5, 16.0]
    steps = [pipeline.feed(PORT, Chunk(data=line(k), received_s=at)) for k, at in enumerate(came)]
    np.testing.assert_allclose(column(steps, "end_s"), came, atol=0.01)
    assert column(steps, "volts_rms").tolist() == [[15 + k / 10, 12.0] for k in [0, 1, 2, 3, 4, 0]]
    assert [seen.board for step in steps for seen in step.boards] == ["bench-1"]


def test_lines_that_came_together_are_spread_and_never_overlap():
    pipeline = Pipeline(layout_with("interval_ms = 200\n"), clock_for_board=lambda _: BoardClock())
    steps = [
        pipeline.feed(PORT, Chunk(data=b"".join(map(line, some)), received_s=at))
        for at, some in ((1.0, range(1)), (2.0, range(4)), (2.1, range(2)), (2.1, range(1)))
    ]
    end_s = column(steps, "end_s")
    np.testing.assert_allclose(end_s[:7], [1.0, 1.4, 1.6, 1.8, 2.0, 2.05, 2.1], atol=0.01)
    assert (np.diff(end_s) >= 0).all()


@pytest.mark.parametrize("clock", ["", "time_ms = 5\n"])
def test_a_recorded_watch_says_the_same_joined(clock):
    """Lines without a clock are taken piece by piece; those with one all at once, and tell their clock for every piece."""
    layout = layout_with(clock)
    data = [line(k)[:-1] + f",{round(k * 352.5)}\n".encode() for k in range(40)]
    came = np.cumsum([0.2, 0.3, 0.21, 0.7] * 10)
    singly = Pipeline(layout, clock_for_board=lambda _: BoardClock())
    steps = [singly.feed(PORT, Chunk(data=each, received_s=at)) for each, at in zip(data, came, strict=True)]
    joined = JoinedChunk(data=b"".join(data), received_s=came[-1], ends=np.cumsum([len(each) for each in data]), came_s=came)
    together = [Pipeline(layout, clock_for_board=lambda _: BoardClock()).feed(PORT, joined)]
    np.testing.assert_array_equal(column(together, "volts_rms"), column(steps, "volts_rms"))
    np.testing.assert_allclose(column(together, "end_s"), column(steps, "end_s"), atol=0.01 if not clock else 0.5)


def test_a_capture_is_timed_by_the_usual_interval_whatever_the_cutting(tmp_path):
    layout = layout_with("interval_ms = 200\n")
    data = (
        b"boot\xff\xfe\nvolts,amps,volts,amps\n" + b"".join(map(line, range(20))) + b"15.0,2.\n" + b"".join(map(line, range(20)))
    )
    runs = []
    for size in (7, 100, len(data)):
        pipeline = Pipeline(layout)
        steps = [pipeline.feed("x.wire", Chunk(data=data[at : at + size])) for at in range(0, len(data), size)]
        runs.append([*steps, pipeline.finish("x.wire")])
    for one, other in itertools.pairwise(runs):
        np.testing.assert_array_equal(column(one, "end_s"), column(other, "end_s"))
        np.testing.assert_array_equal(column(one, "amps_rms"), column(other, "amps_rms"))
    np.testing.assert_allclose(column(runs[0], "end_s"), np.array([*range(20), *range(21, 41)]) / 5)
    (finding,) = {finding.id: finding for step in runs[2] for finding in step.findings}.values()
    assert (finding.kind, finding.count) == (FindingKind.DAMAGED_BYTES, 1)
    assert (
        finding.check
        == "A line was left out. The last one: 15.0,2.: output 1 volts (place 3) is missing; output 1 amps (place 4) is missing."
    )
    path = tmp_path / "x.wire"
    path.write_bytes(data)
    sifted = sift_capture(path, layout)
    assert "The last one: 15.0,2.: output 1 volts (place 3) is missing" in sifted.table()
    districts = sifted.summary.districts
    assert districts["Town lights"].volts_mean == pytest.approx(12.0)
    with pytest.raises(CaptureError, match="interval_ms"):
        sift_capture(path, layout_with(""))


def test_a_board_with_a_clock_is_timed_by_it():
    layout = layout_with("time_ms = 5\n")
    data = b"".join(f"15,2,12,1,{t}\n".encode() for t in (100, 300, 500, 700))
    pipeline = Pipeline(layout)
    steps = [pipeline.feed("x", Chunk(data=data)), pipeline.finish("x")]
    np.testing.assert_allclose(column(steps, "end_s"), [0, 0.2, 0.4, 0.6])


def test_a_damaged_time_of_a_line_of_several_outputs_moves_nothing():
    """Far ahead, far back, and near zero, as a restart would be; each output of the line says the same."""
    pipeline = Pipeline(layout_with("time_ms = 5\n"), clock_for_board=lambda _: BoardClock())
    times_ms = [500_000 + 100 * k for k in range(60)]
    for k, damaged in ((20, 740_000), (30, 102_000), (40, 900)):
        times_ms[k] = damaged
    chunks = [Chunk(data=line(k)[:-1] + f",{ms}\n".encode(), received_s=5 + 0.1 * k) for k, ms in enumerate(times_ms)]
    steps = [pipeline.feed(PORT, chunk) for chunk in chunks]
    np.testing.assert_allclose(column(steps, "end_s"), 5 + 0.1 * np.arange(60), atol=0.11)
    assert [found.kind for step in steps for found in step.findings] == []
