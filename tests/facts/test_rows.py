"""Rows at full resolution: what was let go is nothing, and nothing is no fault."""

import numpy as np

from monitor.facts.rows import KEPT_S, Rows
from monitor.values import ReadingBlock


def block(end_s):
    ends = np.array([end_s])
    column = np.full((1, 1), 2.0)
    return ReadingBlock(
        board="bench-1", districts=("Outer main",), start_s=ends - 0.01, end_s=ends, volts_rms=column, amps_rms=column, volts_mean=column,
        amps_mean=column, watts=column, volts_peak=column, amps_peak=column, far_volts_rms=column, frequency_hz=ends * 0 + 60.0,
    )  # fmt: skip


def test_a_board_that_was_silent_for_longer_than_anything_is_kept_gives_nothing():
    rows = Rows(("Outer main",))
    assert len(rows.cut(0, 0.0, 2.0).amps) == 0
    rows.take(block(1.0))
    assert rows.cut(0, 0.0, 2.0).amps.tolist() == [2.0]
    rows.forget(1.0 + KEPT_S + 1.0)
    assert len(rows.cut(0, 0.0, 2.0).amps) == 0
    rows.take(block(30.0))
    assert rows.cut(0, 0.0, 40.0).end_s.tolist() == [30.0]
