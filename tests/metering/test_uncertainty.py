"""Intervals against an oracle that draws boards and waveforms (JCGM 100, JCGM 101)."""

import numpy as np
import pytest

from monitor.metering import uncertainty
from tests.metering.coverage_oracle import PARTS, WAVES, run_cell

BOARDS = 8
"""Four outputs each: enough to see a cause that was forgotten; tests/bench/coverage_table.py counts more for the table."""
MEASURED = [wave for wave in WAVES if wave != "pulses"]


@pytest.fixture(scope="module")
def cells():
    return {(wave, parts): run_cell(wave, parts, BOARDS, seed=5) for wave in MEASURED for parts in PARTS}


@pytest.mark.parametrize("parts", PARTS)
@pytest.mark.parametrize("what", ["volts", "amps", "watts"])
def test_intervals_hold_what_was_drawn(cells, parts, what):
    mine = [cells[wave, parts] for wave in MEASURED]
    errors, halves = (np.concatenate([getattr(cell, name)[what] for cell in mine]) for name in ("errors", "halves"))
    # 128 outputs a figure, whose windows err alike: 95 % of them within three standard deviations of a share.
    assert 0.89 <= np.mean(np.abs(errors) <= halves) <= 1.0
    assert 0.7 <= 1 / np.quantile(np.abs(errors) / halves, 0.95) <= 1.5


def test_pulses_are_good_next_to_never():
    mine = [run_cell("pulses", parts, 4, seed=6) for parts in PARTS]
    assert sum(cell.good for cell in mine) <= 0.05 * sum(cell.all for cell in mine)


@pytest.mark.parametrize(
    ("limits", "deviation"), [((1.0,), 0.0), ((1.0, 1.0), 0.0), ((1.0,), 0.4), ((1.0,), 2.0), ((1.0, 0.3, 0.3), 0.1)]
)
def test_half_widths_of_sums_as_jcgm_101_draws_them(limits, deviation):
    rng = np.random.default_rng(1)
    drawn = rng.normal(0, deviation or 1e-9, 400_000) + sum(rng.uniform(-limit, limit, 400_000) for limit in limits)
    spread = uncertainty._Spread.normal(np.array(deviation))
    for limit in limits:
        spread += uncertainty._Spread.uniform(np.array(limit))
    assert spread.half_width() == pytest.approx(np.quantile(np.abs(drawn), 0.95), rel=0.02)
