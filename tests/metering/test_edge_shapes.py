"""The answer of a low-pass to a ramp, against a general simulation of linear systems (scipy.signal.lsim)."""

import numpy as np
import pytest
from scipy.signal import lsim

from monitor.metering.edge_shapes import EdgeResponse
from monitor.metering.thresholds import FILTER_QUARTERS, FRACTIONS, STEPS, WIDEST_S

INTERVAL_S, TAU_S = 807.5e-6, 56.4e-6


@pytest.mark.parametrize("step", [0, 4, 12])
def test_fractions_are_reached_when_a_simulated_filter_reaches_them(step):
    width_s = step * WIDEST_S / STEPS
    times_s = np.linspace(0, 1e-3, 100_001)
    ramp = np.clip(times_s / max(width_s, 1e-8), 0, 1)
    _, out, _ = lsim(([1.0], [TAU_S, 1.0]), ramp, times_s)
    response = EdgeResponse(TAU_S / INTERVAL_S, INTERVAL_S)
    for share in (0.05, 0.3, 0.5, 0.9):
        after_s = response.after[FILTER_QUARTERS + step, round(share * FRACTIONS)] * INTERVAL_S
        assert after_s == pytest.approx(np.interp(share, out, times_s) - width_s / 2 - TAU_S, abs=1e-6)


def test_the_width_is_told_from_what_samples_a_scan_apart_see():
    response = EdgeResponse(TAU_S / INTERVAL_S, INTERVAL_S)
    assert (response.level(response.seen) == np.arange(len(response.seen))).all()
    assert response.level(np.array([0.0, 1.0])).tolist() == [0, FILTER_QUARTERS + STEPS]
