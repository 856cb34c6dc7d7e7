"""What is remembered of edges, against the same done half cycle by half cycle."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.metering.edge_track import Fading, _carried
from monitor.metering.thresholds import STRETCH_HALVES


@given(st.integers(0, 2**32 - 1), st.integers(1, 3 * STRETCH_HALVES))
@settings(max_examples=30, deadline=None)
def test_numbers_are_carried_through_intervals_as_one_by_one(seed, count):
    rng = np.random.default_rng(seed)
    least = rng.normal(size=(2, 3, count))
    most = least + rng.exponential(size=least.shape)
    start = rng.normal(size=(2, 3))
    moved, number = [], start
    for k in range(count):
        number = np.clip(number, least[..., k], most[..., k])
        moved.append(number)
    np.testing.assert_array_equal(_carried(start, least, most), np.stack(moved, axis=-1))


def test_means_fade_one_by_one_and_in_any_pieces():
    rng = np.random.default_rng(1)
    values, weights = rng.normal(size=(3, 40)), rng.integers(0, 2, (3, 40)).astype(float)
    whole, pieces = Fading((3,), 7.0, 0.5), Fading((3,), 7.0, 0.5)
    found = whole.feed(values, weights, 2.0)
    apart = [pieces.feed(values[:, a:b], weights[:, a:b], 2.0) for a, b in ((0, 13), (13, 14), (14, 40))]
    np.testing.assert_allclose(np.concatenate(apart, axis=1), found, rtol=1e-12)
    top = bottom = np.zeros(3)
    for k in range(40):
        top, bottom = top * np.exp(-1 / 7) + values[:, k] * weights[:, k], bottom * np.exp(-1 / 7) + weights[:, k]
        np.testing.assert_allclose(found[:, k], (top + 0.5 * 2.0) / (bottom + 0.5), rtol=1e-12)
