"""Two trains pass one bad place, each at its own lap: some events recur, the others are the other train's."""

import numpy as np
import pytest
from scipy.stats import binom

from monitor.diagnosis.recurrences import recurrences

SIGNIFICANT = 0.002


def two_trains(first_s: float, second_s: float, seed: int, *, span_s: float = 330.0) -> np.ndarray:
    """Passings of one place by two trains; a lap wavers by a hundredth, and one loss in ten does not happen."""
    rng = np.random.default_rng(seed)
    passes = [
        np.cumsum(np.concatenate([rng.uniform(0, lap_s, 1), lap_s * rng.normal(1, 0.01, int(span_s / lap_s))]))
        for lap_s in (first_s, second_s)
    ]
    at_s = np.sort(np.concatenate(passes))
    return at_s[rng.random(len(at_s)) < 0.9]


@pytest.mark.parametrize(("first_s", "second_s"), [(24.0, 27.0), (33.0, 28.0), (16.0, 14.0)])
def test_one_train_s_lap_is_found_beside_another_s(first_s: float, second_s: float):
    right = 0
    for seed in range(10):
        at_s = two_trains(first_s, second_s, seed)
        found = recurrences(at_s, 8.0, float(at_s[-1] - at_s[0]) / 4, SIGNIFICANT)
        right += bool(found) and any(abs(r.period / lap_s - 1) < 0.05 for r in found for lap_s in (first_s, second_s))
    assert right >= 8


def test_events_at_random_seldom_recur():
    rng = np.random.default_rng(1)
    called = sum(bool(recurrences(np.sort(rng.uniform(0, 300, 24)), 8.0, 75.0, 0.05)) for _ in range(200))
    assert called <= 10  # 5 % of 200, were the bound exact; it is an upper one


def test_the_chance_is_the_binomial_tail_times_what_was_tried():
    at_s = np.arange(12) * 20.0
    found = max(recurrences(at_s, 8.0, 55.0, SIGNIFICANT), key=lambda r: r.period)
    turns = 220.0 * (1 / 8.0 - 1 / 55.0)
    # scipy's binomial distribution as the reference.
    at_20_s = 12 * turns / 0.05 * 2 * binom.sf(10, 11, 0.05)
    assert min(r.p_value for r in recurrences(at_s, 8.0, 55.0, SIGNIFICANT)) == pytest.approx(at_20_s, rel=1e-9)
    assert found.period == pytest.approx(20.0, rel=0.02)
    assert found.members.all()


def test_few_events_tell_nothing():
    assert recurrences(np.arange(5) * 20.0, 8.0, 40.0, SIGNIFICANT) == []
    assert recurrences(np.zeros(0), 8.0, 40.0, SIGNIFICANT) == []
