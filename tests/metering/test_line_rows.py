import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.metering import LineRows, thresholds
from monitor.values import LineReadings
from tests.metering.converter import layout_of

FIGURES = ("volts_rms", "amps_rms", "watts")


def readings(outputs, first=0):
    """Readings of these outputs whose figures tell each from all others; no watts from odd outputs."""
    numbers = first + np.arange(len(outputs), dtype=float)
    made = np.array(outputs, dtype=np.int64)
    return LineReadings(
        times_ms=numbers.astype(np.int64),
        outputs=made,
        volts_rms=numbers / 100 + 0.25,
        amps_rms=numbers / 1000,
        watts=np.where(made % 2, np.nan, numbers / 3),
        ends=numbers.astype(np.int64),
    )


def rows_by_rule(outputs, columns):
    """Which reading stands in each column of each row, or None."""
    rows, row = [], {}
    for number, output in enumerate(outputs):
        if output >= columns:
            continue
        if output in row:
            rows.append(row)
            row = {}
        row[output] = number
        if len(row) == columns:
            rows.append(row)
            row = {}
    return [[row.get(column) for column in range(columns)] for row in [*rows, row] if row]


rounds = st.lists(
    st.one_of(
        st.sampled_from([[0, 1, 2], [0, 1, 2], [2, 0, 1], [0, 1], [1], [0, 1, 2, 3], [63, 0, 1, 2], [0, 0, 1, 2], []]),
        st.lists(st.integers(0, 4), max_size=5),
    ),
    max_size=30,
).map(lambda rounds: list(itertools.chain(*rounds)))


@given(outputs=rounds, columns=st.integers(1, 3), cuts=st.lists(st.integers(0, 150), max_size=5))
def test_a_row_ends_when_it_is_full_or_an_output_comes_again(outputs, columns, cuts):
    rows = LineRows(layout_of(columns), "bench-1")
    edges = [0, *sorted(cut % (len(outputs) + 1) for cut in cuts), len(outputs)]
    blocks = []
    for start, end in itertools.pairwise(edges):
        part = readings(outputs[start:end], start)
        blocks += rows.feed(part, part.times_ms / 10).readings
    blocks += rows.finish().readings
    expected = rows_by_rule(outputs, columns)
    every = readings(outputs)
    for name in FIGURES:
        found = [figures for block in blocks for figures in getattr(block, name).tolist()]
        wanted = [[np.nan if at is None else getattr(every, name)[at] for at in row] for row in expected]
        np.testing.assert_array_equal(found, wanted)
    ends = [end_s for block in blocks for end_s in block.end_s.tolist()]
    assert ends == [max(at for at in row if at is not None) / 10 for row in expected]
    starts = [start_s for block in blocks for start_s in block.start_s.tolist()]
    assert starts == [*(end_s - thresholds.USUAL_INTERVAL_S for end_s in ends[:1]), *ends[:-1]]
    assert rows.finish().readings == []


def test_a_board_without_districts_has_no_rows():
    part = readings([0, 1] * 50)
    assert LineRows(layout_of(1), "bench-2").feed(part, part.times_ms / 10).readings == []


def test_zero_is_taken_off_in_volts_and_amps_before_gain_multiplies():
    calibration = '[calibration."bench-1".0]\ngain = 1.02\nzero = 0.5\n[calibration."bench-1".1]\ngain = 0.98\nzero = -0.05\n'
    layout = layout_of(1, calibration=calibration)
    part = LineReadings(
        times_ms=np.array([0]),
        outputs=np.array([0]),
        volts_rms=np.array([15.5]),
        amps_rms=np.array([1.95]),
        watts=np.array([30.0]),
        ends=np.array([9]),
    )
    (block,) = LineRows(layout, "bench-1").feed(part, np.zeros(1)).readings
    np.testing.assert_allclose((block.volts_rms[0, 0], block.amps_rms[0, 0]), (15.3, 1.96))
    np.testing.assert_allclose(block.watts[0, 0], 30.0 * 1.02 * 0.98)


def sent(outputs, seconds=6.0):
    """So many outputs a tenth of a second, as they are numbered."""
    made = np.tile(outputs, round(seconds * 10))
    part = readings(made.tolist())
    return replace(part, volts_rms=np.full(len(made), 15.0), amps_rms=np.full(len(made), 1.0)), np.repeat(
        np.arange(round(seconds * 10)) / 10, len(outputs)
    )


@pytest.mark.parametrize("size", [1, 7, 1000])
def test_outputs_numbered_from_1_are_told_and_no_figure_is_good(size):
    rows, (part, times_s) = LineRows(layout_of(4), "bench-1"), sent([1, 2, 3, 4])
    found = [
        rows.feed(LineReadings(**{name: getattr(part, name)[at : at + size] for name in part.__slots__}), times_s[at : at + size])
        for at in range(0, len(times_s), size)
    ]
    (trouble,) = [trouble for each in found for trouble in each.troubles]
    assert "does its sketch count them from 1?" in trouble.check
    good = np.concatenate(
        [np.ones(block.volts_rms.shape) if block.good is None else block.good for each in found for block in each.readings]
    )
    ends = np.concatenate([block.end_s for each in found for block in each.readings])
    assert (good.all(axis=1) == (ends <= 3.0)).all()
    assert not good[-1].any()


def test_fewer_outputs_than_districts_are_told_one_by_one_and_the_others_stay_good():
    rows, (part, times_s) = LineRows(layout_of(4), "bench-1"), sent([0, 1])
    metered = rows.feed(part, times_s)
    assert [trouble.channel for trouble in metered.troubles] == [4, 6]
    assert "District 2 is on output 2 (channels 4 and 5), which never comes" in metered.troubles[0].check
    assert metered.readings[0].good is None
    assert LineRows(layout_of(4), "bench-1").feed(*sent([0, 1, 2, 3])).troubles == []
