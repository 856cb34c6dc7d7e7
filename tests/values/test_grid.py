"""The one time grid: where a reading on an edge falls, in rows of every length alike, and what rows come to."""

import numpy as np
import pytest

from monitor.values.grid import REDUCTIONS, ROW_S, first_of_rows, row_at, rows_of


@pytest.mark.parametrize("length_s", [0.1, 0.2, 0.5, 1.0])
def test_a_reading_on_an_edge_belongs_to_the_row_that_it_ends(length_s):
    edges_s = np.arange(1, 3000) * length_s
    assert rows_of(edges_s, length_s).tolist() == list(range(2999))
    assert rows_of(edges_s + 0.001, length_s).tolist() == list(range(1, 3000))
    assert rows_of(np.array([-0.5, 0.0, 1e-9]), length_s).tolist() == [0, 0, 0]
    assert row_at(10.0, length_s) == round(10 / length_s) - 1


@pytest.mark.parametrize("length_s", [0.2, 0.5, 1.0])
def test_longer_rows_are_whole_rows_of_the_shortest(length_s):
    ends_s = np.random.default_rng(7).uniform(0, 5000, 20000).round(3)
    assert (rows_of(ends_s, length_s) == rows_of(ends_s, ROW_S) // round(length_s / ROW_S)).all()


def test_reductions_of_rows_pass_over_what_is_missing():
    rows = np.array([3, 3, 5, 6, 6])
    values = np.array([[3.0, np.nan], [4.0, 1.0], [np.nan, np.nan], [2.0, -2.0], [np.nan, 6.0]])
    reduced = {name: of(values, first_of_rows(rows)) for name, of in REDUCTIONS.items()}
    nan = np.nan
    np.testing.assert_allclose(reduced["rms"], [[12.5**0.5, 1], [nan, nan], [2, 20**0.5]])
    np.testing.assert_allclose(reduced["mean"], [[3.5, 1], [nan, nan], [2, 2]])
    np.testing.assert_allclose(reduced["lowest"], [[3, 1], [nan, nan], [2, -2]])
    np.testing.assert_allclose(reduced["highest"], [[4, 1], [nan, nan], [2, 6]])
