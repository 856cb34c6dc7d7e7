"""Medians, quantiles and sliding figures against numpy's general ones, to the bit."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.lib.stride_tricks import sliding_window_view

from monitor.facts.medians import lowest_tenth, median, medians, middles, quantiles
from monitor.facts.sliding import medians_of_five, rows_before, sliding

figures = st.one_of(st.floats(0, 40, width=32), st.just(float("nan")))
tables = arrays(np.float64, st.tuples(st.integers(5, 40), st.integers(1, 4)), elements=figures)


@given(arrays(np.float64, st.integers(1, 60), elements=st.floats(-1e3, 1e3)))
def test_middles_and_quantiles_are_those_of_numpy(values):
    assert float(middles(values)) == np.median(values)
    assert quantiles(values, (0.02, 0.25, 0.5, 0.9)) == np.quantile(values, [0.02, 0.25, 0.5, 0.9]).tolist()
    assert median(values) == float(medians(values, 0)) == np.sort(values)[len(values) // 2]


@given(arrays(np.float64, st.integers(1, 60), elements=figures).filter(lambda values: not np.isnan(values).all()))
def test_the_lowest_tenth_is_that_of_what_is_there(values):
    assert lowest_tenth(values) == np.nanquantile(values, 0.1)


def test_where_one_is_missing_there_is_no_median():
    values = np.array([1.0, np.nan, 3.0])
    assert np.isnan([median(values), float(medians(values, 0)), float(middles(values)), *quantiles(values, (0.1, 0.9))]).all()


@given(tables)
def test_medians_of_five_are_those_of_each_window(rows):
    windows = sliding_window_view(rows, 5, axis=0)
    np.testing.assert_array_equal(medians_of_five(rows), np.median(windows, axis=-1))


@settings(max_examples=60)
@given(tables, st.integers(1, 30), st.sampled_from([np.minimum, np.maximum]))
def test_sliding_extremes_are_those_of_each_window(rows, width, extreme):
    width = min(width, len(rows))
    np.testing.assert_array_equal(
        sliding(extreme, rows, width), extreme.reduce(sliding_window_view(rows, width, axis=0), axis=-1)
    )


@pytest.mark.parametrize(
    ("span", "width", "gap", "first"), [(slice(8, 10), 3, 2, 4), (slice(1, 3), 3, 0, -1), (slice(0, 2), 1, 4, -4)]
)
def test_windows_end_before_each_row_and_there_is_nothing_before_the_first(span, width, gap, first):
    array = np.arange(20.0).reshape(10, 2)
    rows = rows_before(array, span, width, gap)
    expected = [
        [2 * k, 2 * k + 1] if k >= 0 else [np.nan, np.nan] for k in range(first, first + span.stop - span.start + width - 1)
    ]
    np.testing.assert_array_equal(rows, expected)
