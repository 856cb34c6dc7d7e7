"""Readings on the grid of fifths of a second: worked by hand."""

import itertools

import numpy as np
import pytest

from monitor.protection.ticks import TICK_S, BoardTicks
from tests.protection.streams import block


def fed(end_s, volts, amps, cuts=()):
    ticks, found = BoardTicks(2), []
    edges = [0, *cuts, len(end_s)]
    for begin, end in itertools.pairwise(edges):
        first, means = ticks.feed(block(end_s[begin:end], volts[begin:end], amps[begin:end]))
        found += [(first + k, row) for k, row in enumerate(means)]
    return dict(found), ticks


def test_a_reading_that_ends_on_an_edge_belongs_to_the_tick_before():
    end_s = np.array([0.1, 0.2, 0.3, 0.4, 0.5])
    rows, ticks = fed(end_s, np.full((5, 2), 10.0), np.array([[1.0, 0], [3.0, 0], [5.0, 0], [7.0, 0], [9.0, 0]]))
    # RMS of 1 and 3, of 5 and 7; VA are means of products.
    assert rows[0][1, 0] == pytest.approx(np.sqrt(5.0))
    assert rows[1][1, 0] == pytest.approx(np.sqrt(37.0))
    assert rows[1][2, 0] == pytest.approx(60.0)
    assert ticks.closed == 2


def test_a_board_that_sends_seldom_draws_on_for_a_second_and_a_half():
    end_s = np.array([0.2, 4.2, 4.4])
    rows, _ = fed(end_s, np.full((3, 2), 10.0), np.full((3, 2), 2.0))
    known = [number for number, row in rows.items() if np.isfinite(row[1, 0])]
    # Tick 0, as far as 1.5 s after it, then the one of 4.2 s.
    assert known == [*range(1 + int(1.5 / TICK_S)), 20]


def test_cuts_change_nothing():
    rng = np.random.default_rng(2)
    end_s = np.cumsum(rng.uniform(0.01, 0.5, 60))
    volts, amps = rng.uniform(5, 15, (60, 2)), rng.uniform(0, 9, (60, 2))
    amps[rng.random((60, 2)) < 0.2] = np.nan
    whole, _ = fed(end_s, volts, amps)
    pieces, _ = fed(end_s, volts, amps, cuts=range(1, 60))
    assert whole.keys() == pieces.keys()
    for number in whole:
        np.testing.assert_allclose(whole[number], pieces[number], rtol=1e-12)


def test_times_that_stumble_fall_into_no_tick_that_is_complete():
    end_s = np.array([0.2, 0.5, 0.3, 0.7])
    rows, _ = fed(end_s, np.full((4, 2), 10.0), np.array([[1.0, 0], [2.0, 0], [4.0, 0], [3.0, 0]]), cuts=(1, 2, 3))
    assert rows[2][1, 0] == pytest.approx(np.sqrt(10.0))
