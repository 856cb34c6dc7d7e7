"""Scales that are wrong, against what supplies and sensors can give; the figures are those of a board that printed thousandths."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.layout import parse_layout
from monitor.metering.line_plausibility import LinePlausibility
from monitor.runtime import Pipeline
from monitor.values import Chunk, FindingKind, Priority
from tests.layout.fernhollow import district_text, head_text, output_text, supply_text
from tests.metering.converter import layout_of


def judged(volts, amps, *, current="ac", layout=None):
    figures = np.array([volts, amps], dtype=float)[:, :, np.newaxis]
    return LinePlausibility(layout or layout_of(1, current=current), "bench-1").judge(figures, np.arange(len(volts)) / 5)


def shown(found):
    return found.figures[:, :, 0].tolist()


def test_figures_that_can_be_stay_as_they_are():
    found = judged([0, 15.2, 18, 22, 2.0], [0, 2.4, 9.5, 0.1, 60])
    assert shown(found) == [[0, 15.2, 18, 22, 2.0], [0, 2.4, 9.5, 0.1, 60]]
    assert (found.good, found.amps_clipped, found.troubles) == (None, None, [])


def test_millivolts_and_milliamps_are_asked_about_and_left_out():
    found = judged([15200.0] * 4, [400.0] * 4)
    assert np.isnan(found.figures).all()
    assert not found.good.any()
    volts, amps = (next(t for t in found.troubles if t.channel == channel) for channel in (0, 1))
    assert volts.check.startswith(
        "The board says 15200 volts for District 0, far above the 18 V of Supply 0. Are these millivolts? Then"
    )
    assert "Are these milliamps? Then" in amps.check
    assert {trouble.kind for trouble in found.troubles} == {FindingKind.IMPLAUSIBLE}


def test_more_volt_amperes_than_any_such_source_can_give():
    """99 A at 15 V from a plate of 180 VA: nothing regulates so well; at 2 V the same amps are a short like any other."""
    found = judged([15.0, 2.0], [99.0, 99.0])
    assert np.isnan(found.figures[1, :, 0]).tolist() == [True, False]
    assert "Are these milliamps?" in found.troubles[0].check


def test_a_mapped_board_is_told_the_very_key():
    text = '[board.lines]\nform = "values"\n[[board.lines.output]]\nvolts = 1\namps = 2\n'
    whole = head_text() + text + supply_text("S") + output_text("A", "S") + district_text(0, "D", "S")
    found = judged([15200.0] * 3, [1.0] * 3, layout=parse_layout(whole))
    assert "write volts_scale = 0.001 under [[board.lines.output]]" in found.troubles[0].check


def test_one_lost_digit_costs_one_figure_and_three_the_channel():
    amps = [0.3, 300.0, 0.3, 300.0, 0.3, 300.0, 0.3, 0.3]
    found = judged([15.0] * 8, amps)
    assert np.isnan(found.figures[1, :, 0]).tolist() == [False, True, False, True, False, True, True, True]
    assert not np.isnan(found.figures[0]).any()


def test_a_wrong_scale_counts_as_right_again_a_minute_after():
    looking = LinePlausibility(layout_of(1), "bench-1")
    figures = np.array([[15.0] * 5, [300.0, 300.0, 300.0, 0.3, 0.3]])[:, :, np.newaxis]
    found = looking.judge(figures, np.array([0.0, 1.0, 2.0, 59.0, 61.0]))
    assert np.isnan(found.figures[1, :, 0]).tolist() == [True, True, True, True, False]


def test_negative_rms_on_ac_cannot_be_and_on_dc_is_a_direction():
    found = judged([-15.2, -0.3], [2.4, -0.05])
    np.testing.assert_equal(shown(found), [[np.nan, 0.0], [2.4, 0.0]])
    assert "never negative" in found.troubles[0].check
    found = judged([-15.2, 3.0], [-2.4, 0.2], current="dc")
    assert (shown(found), found.troubles) == ([[15.2, 3.0], [2.4, 0.2]], [])


def test_amps_that_stand_still_at_their_highest_are_clipped():
    found = judged([9.0] * 12, [5.0, 19.0, *[30.0] * 10])
    assert found.amps_clipped[:, 0].tolist() == [False] * 9 + [True] * 3
    assert not found.good[9:].any()
    assert {trouble.kind for trouble in found.troubles} == {FindingKind.CLIPPED}
    assert "more may flow" in found.troubles[0].check
    # A regulated load stands still below the rating, and a real overload moves.
    assert judged([9.0] * 12, [8.0] * 12).troubles == []
    assert judged([9.0] * 12, 30 + np.arange(12) % 2 / 100).troubles == []


figures = st.one_of(st.sampled_from([0.0, 15.0, 15000.0, 0.3, 300.0, -15.0, 30.0, 30.0, 30.0]), st.floats(-500, 500))


@given(rows=st.lists(st.tuples(figures, figures), min_size=1, max_size=60), cuts=st.lists(st.integers(0, 60), max_size=6))
def test_results_do_not_depend_on_how_rows_are_cut(rows, cuts):
    table, end_s = np.array(rows).T[:, :, np.newaxis], np.arange(len(rows)) / 5
    whole, pieces = LinePlausibility(layout_of(1), "bench-1"), LinePlausibility(layout_of(1), "bench-1")
    found = whole.judge(table, end_s)
    edges = [0, *sorted(cut % (len(rows) + 1) for cut in cuts), len(rows)]
    parts = [pieces.judge(table[:, a:b], end_s[a:b]) for a, b in itertools.pairwise(edges) if b > a]
    np.testing.assert_array_equal(np.concatenate([part.figures for part in parts], axis=1), found.figures)
    key = lambda trouble: (trouble.start_s, trouble.kind.value, trouble.channel)  # noqa: E731
    assert sorted((t for part in parts for t in part.troubles), key=key) == sorted(found.troubles, key=key)


@pytest.mark.parametrize("scale", [1, 1000])
def test_thousandths_never_raise_a_short_and_true_figures_do(scale):
    """The look's own case: 2.4 A at 15.2 V printed in thousandths; and a real short in the middle of good figures."""
    lines = [f"r,{100 * k},0,{15.2 * scale:.2f},{2.4 * scale:.2f}\n" for k in range(60)]
    if scale == 1:
        lines[30:40] = [f"r,{100 * k},0,0.80,55.{k}\n" for k in range(30, 40)]
    pipeline = Pipeline(layout_of(1))
    steps = [pipeline.feed("x", Chunk(data="".join(lines).encode())), pipeline.finish("x")]
    high = [warning for step in steps for warning in step.warnings if warning.priority is Priority.HIGH]
    assert bool(high) == (scale == 1)
    findings = {finding.kind for step in steps for finding in step.findings}
    assert findings == (set() if scale == 1 else {FindingKind.IMPLAUSIBLE})
