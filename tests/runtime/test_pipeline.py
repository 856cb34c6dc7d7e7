import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.layout import parse_layout
from monitor.runtime import Pipeline, SummaryBuilder
from monitor.values import Chunk, FindingKind
from tests.layout.fernhollow import FERNHOLLOW
from tests.runtime.streams import INTERVAL_S, packed_stream, plain_layout, sine_counts
from tests.wire.bytestreams import health_packet, identity, identity_packet

STREAM = packed_stream(sine_counts(3.0))


def steps_of(data, sizes=None, layout=None):
    pipeline = Pipeline(layout or plain_layout())
    sizes = sizes or [len(data)]
    steps, start = [], 0
    while start < len(data):
        size = sizes[len(steps) % len(sizes)]
        steps.append(pipeline.feed("capture", Chunk(data=data[start : start + size])))
        start += size
    return [*steps, pipeline.finish("capture")]


def joined(steps, name):
    blocks = [block for step in steps for block in step.readings]
    return np.concatenate([getattr(block, name) for block in blocks])


def test_readings_of_known_sines():
    steps = steps_of(STREAM)
    settled = slice(20, -20)
    # A 10-bit converter over +-36 V and +-30 A: half a per cent of full scale.
    assert joined(steps, "volts_rms")[settled] == pytest.approx(
        np.array([[15.0, 12.0]] * len(joined(steps, "volts_rms")[settled])), abs=0.18
    )
    assert joined(steps, "amps_rms")[settled, 0] == pytest.approx(3.0, abs=0.15)
    # P = U I for a resistive load (IEEE 1459).
    assert joined(steps, "watts")[settled, 0] == pytest.approx(45.0, abs=1.5)


@given(st.lists(st.integers(1, 4000), min_size=1, max_size=8))
@settings(max_examples=20, deadline=None)
def test_readings_do_not_depend_on_how_the_stream_was_cut(sizes):
    whole, cut = steps_of(STREAM), steps_of(STREAM, sizes)
    for name in ("end_s", "volts_rms", "amps_rms", "watts", "volts_mean"):
        np.testing.assert_allclose(joined(cut, name), joined(whole, name), rtol=1e-6, atol=1e-6)


def test_time_never_falls_and_ends_with_the_last_scan():
    steps = steps_of(STREAM, [997])
    times = [step.now_s for step in steps]
    assert times == sorted(times)
    assert times[-1] == pytest.approx(3.0, abs=2 * INTERVAL_S)


def test_a_gap_is_found_counted_and_not_metered_across():
    counts = sine_counts(4.0)
    first, second = counts[:2000], counts[2600:]
    data = packed_stream(first) + packed_stream(second, first_scan=2600, with_head=False)
    steps = steps_of(data)
    (finding,) = {f.id: f for step in steps for f in step.findings if f.kind is FindingKind.GAP}.values()
    assert finding.count == 600
    assert (finding.start_s, finding.end_s) == (pytest.approx(2000 * INTERVAL_S), pytest.approx(2600 * INTERVAL_S))
    ends = joined(steps, "end_s")
    volts = joined(steps, "volts_rms")[(ends > finding.start_s) & (ends < finding.end_s)]
    assert not np.isfinite(volts).any()
    summary = SummaryBuilder(plain_layout())
    for step in steps:
        summary.add(step)
    assert summary.build().districts["Outer main"].lost_s == pytest.approx(600 * INTERVAL_S, abs=0.01)


def test_energy_is_that_of_the_time_which_the_readings_cover():
    counts = sine_counts(4.0)
    pieces = [packed_stream(counts[k : k + 150], first_scan=k, with_head=k == 0) for k in range(0, len(counts), 180)]
    steps = steps_of(b"".join(pieces))
    starts, ends = joined(steps, "start_s"), joined(steps, "end_s")
    covered_s = float(np.sum(ends - np.maximum(starts, np.concatenate([[-np.inf], ends[:-1]]))))
    summary = SummaryBuilder(plain_layout())
    for step in steps:
        summary.add(step)
    assert 2.0 < covered_s < 3.4
    # 15 V and 3 A in phase.
    assert summary.build().districts["Outer main"].energy_wh == pytest.approx(45 * covered_s / 3600, rel=0.005)


def test_a_restart_and_its_brown_out_are_found():
    counts = sine_counts(2.0)
    again = b"\0" + identity_packet(identity(channels=4), 0) + health_packet(0.0, 1).replace(b"", b"")
    data = packed_stream(counts) + again + packed_stream(counts, with_head=False)
    kinds = {finding.kind for step in steps_of(data) for finding in step.findings}
    assert FindingKind.RESTART in kinds


def test_a_board_that_the_layout_does_not_know_is_named():
    stranger = identity(channels=4, number=9, name="stranger")
    (seen,) = [seen for step in steps_of(b"\0" + identity_packet(stranger)) for seen in step.boards]
    assert (seen.board, seen.identity.name) == (None, "stranger")


def test_a_board_without_a_district_is_read_and_judged_as_nothing():
    steps = steps_of(STREAM, layout=parse_layout(FERNHOLLOW.split("[[district]]")[0]))
    step = steps[0]
    assert [seen.board for seen in step.boards] == ["bench-1"]
    assert step.warnings == ()


def test_channels_that_the_board_does_not_have_are_named():
    small = identity(channels=2)
    (seen,) = [seen for step in steps_of(b"\0" + identity_packet(small)) for seen in step.boards]
    assert (seen.board, seen.missing_channels) == ("bench-1", (2, 3))


def test_line_readings_walk_the_same_way():
    data = b"b,bench-1,2,100\n" + b"".join(b"r,%d,0,15.00,3.00,44.0\nr,%d,1,12.00,1.00\n" % (100 * k, 100 * k) for k in range(50))
    steps = steps_of(data, [61])
    assert joined(steps, "volts_rms")[:, 0].tolist() == [15.0] * 50
    assert joined(steps, "watts")[0, 0] == 44.0
    assert np.isnan(joined(steps, "watts")[0, 1])
    assert joined(steps, "end_s")[-1] == pytest.approx(4.9)


@given(st.binary(max_size=400), st.integers(0, len(STREAM) - 1))
@settings(max_examples=40, deadline=None)
def test_noise_anywhere_never_raises(noise, where):
    steps = steps_of(STREAM[:where] + noise + STREAM[where:], [4096])
    assert steps[-1].now_s >= 0


@given(
    st.lists(
        st.sampled_from([b"r,1,0,1,1\n", b"r,0,9,0,0\n", b"r,4294967295,1,3,4*00\n", b"b,x,2,100\n", b"b,y,64,1\n"]), max_size=30
    )
)
@settings(max_examples=30, deadline=None)
def test_odd_line_boards_never_raise(lines):
    assert steps_of(b"".join(lines) or b"\n")
