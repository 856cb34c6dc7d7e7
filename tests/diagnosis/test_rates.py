"""Rates before and after, against the exact binomial test of scipy."""

import pytest
from scipy.stats import binomtest

from monitor.diagnosis.rates import compare_rates


@pytest.mark.parametrize(
    ("before", "before_s", "after", "after_s"), [(12, 1800, 2, 1500), (5, 600, 5, 600), (0, 300, 4, 900), (40, 3600, 11, 1200)]
)
def test_exact_test(before: int, before_s: float, after: int, after_s: float):
    change = compare_rates(before, before_s, after, after_s)
    assert change.p_value == pytest.approx(binomtest(after, before + after, after_s / (before_s + after_s)).pvalue, rel=1e-9)
    assert change.before_per_hour == pytest.approx(3600 * before / before_s)
    assert change.after_per_hour == pytest.approx(3600 * after / after_s)


def test_nothing_at_all_says_nothing():
    assert compare_rates(0, 60, 0, 60).p_value == 1


def test_no_time_is_an_error():
    with pytest.raises(ValueError, match="time"):
        compare_rates(1, 0, 1, 10)
