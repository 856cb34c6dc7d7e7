"""A collapse is measured against the volts of a tenth of a second before: 12 half cycles of 60 Hz."""

import numpy as np
import pytest

from monitor.protection.shorts import ShortDetector
from tests.protection.streams import HALF_CYCLE_S, block


@pytest.mark.parametrize(("sagged_for", "is_short"), [(1, True), (11, True), (12, False), (30, False)])
def test_volts_that_sagged_more_than_a_tenth_of_a_second_before_have_not_collapsed(sagged_for, is_short):
    """A sag from 14 to 7 V, later 18.5 A at 5 V: more ohms than a short has, so only a collapse from above 10 V tells."""
    rows = 50 + sagged_for + 1
    volts, amps = np.full((rows, 2), 14.0), np.full((rows, 2), 1.0)
    volts[50:, 0], volts[-1, 0], amps[-1, 0] = 7.0, 5.0, 18.5
    detector = ShortDetector(np.array([10.0, 10.0]), np.array([18.0, 18.0]))
    assert bool(detector.feed(block(np.arange(1, rows + 1) * HALF_CYCLE_S, volts, amps))) is is_short
