"""The view of the mains keeps what its windows need, and no more."""

import pickle

import numpy as np
import pytest

from monitor.metering.mains_view import MainsTracker

HERTZ, INTERVAL_S, CHUNK = 60.0, 1 / 1920, 1920


def by_feed(tracker, values, at_s):
    tracker.feed(values)


def by_runs(tracker, values, at_s):
    tracker.feed_runs(values, [(at_s, 0, values.shape[1])])


@pytest.mark.parametrize("take", [by_feed, by_runs])
def test_a_long_stream_takes_no_more_memory_than_a_short_one(take):
    tracker, kept = MainsTracker(HERTZ, INTERVAL_S, np.zeros(2), np.ones(2)), []
    for second in range(40):
        times_s = second + np.arange(CHUNK) * INTERVAL_S
        take(tracker, 300.0 * np.sin(2 * np.pi * HERTZ * times_s)[None] * [[1.0], [0.5]], float(second))
        kept.append(len(pickle.dumps(tracker)))
    # The first chunk fills the window; a frame of two channels is 32 bytes, and 120 come in a second.
    assert max(kept[2:]) <= kept[1] + 200
