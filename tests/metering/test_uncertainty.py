"""Intervals against an oracle that draws boards and waveforms (JCGM 100, JCGM 101)."""

import numpy as np
import pytest

from monitor.metering import thresholds, uncertainty
from tests.metering import front_end
from tests.metering.converter import identity_of, joined, layout_of, metered, metered_counts, phase_cut, sine
from tests.metering.coverage_oracle import PARTS, WAVES, run_cell
from tests.metering.front_end import CutMains

SURE = "gain = 1.000001\ngain_uncertainty = 1e-6\nsupply_volts = 5.0\n"
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
    mine = [run_cell("pulses", parts, 8, seed=6) for parts in PARTS[:3]]
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
    assert spread.one_tail() == pytest.approx(np.quantile(drawn, 0.95), rel=0.03)


@pytest.mark.parametrize(("degrees", "ratio"), [(150, 9.995), (150, 10.01), (135, 10.005)])
def test_deep_cuts_that_keep_step_with_the_scans_say_what_is_open(degrees, ratio):
    """For seconds on end one settled sample a half cycle, or none, tells neither phase nor place."""
    mains, rate = front_end.CutMains(degrees=degrees, edge_s=60e-6), 120 * ratio
    identity = identity_of(2, interval_s=1 / rate, skew_s=80.75e-6)
    waves = [lambda t: mains.sampled(t, 0), lambda t: mains.sampled(t, 1)]
    counts = front_end.counts_of(waves, identity, 6.0, start_s=0.0123)
    calibration = "".join(f'[calibration."bench-1".{k}]\n{SURE}' for k in range(2))
    made = metered_counts(counts, identity, layout_of(1, calibration=calibration, filter_us=56.4))
    settled = joined(made.aggregates, "start_s") >= 1.0
    for name, half, true in zip(("volts", "amps"), ("volts_u95", "amps_u95"), mains.truth(), strict=False):
        errors = np.abs(joined(made.aggregates, f"{name}_rms")[settled, 0] - true)
        assert np.mean(errors <= joined(made.aggregates, half)[settled, 0]) >= 0.93


def test_a_cut_output_on_another_phase_of_the_mains_is_in_doubt():
    """Its edges lie where half cycles meet, and none is found: sampled RMS is off by what falls between two scans."""
    cut = phase_cut(10, 135)
    turned = [lambda t: cut(t + 1 / 360), lambda t: cut(t + 1 / 360) / 4]
    calibration = "".join(f'[calibration."bench-1".{k}]\n{SURE}' for k in range(4))
    layout, identity = layout_of(2, calibration=calibration), identity_of(4, interval_s=1 / 1238.39, skew_s=81e-6)
    made = metered([sine(16), sine(1), *turned], 3, layout=layout, identity=identity)
    settled = joined(made.aggregates, "start_s") >= 1.0
    angles = (np.arange(10_000) + 0.5) / 10_000 * np.pi
    true = 10 * np.sqrt(2 * np.mean(np.where(angles >= np.radians(135), np.sin(angles), 0.0) ** 2))
    errors = np.abs(joined(made.aggregates, "volts_rms")[settled, 1] - true)
    assert (errors <= joined(made.aggregates, "volts_u95")[settled, 1]).all()
    assert (joined(made.aggregates, "volts_u95")[settled, 0] < 0.01 * 16).all()


@pytest.mark.parametrize(
    ("mains", "ratio", "start_s"),
    [
        (CutMains(degrees=28.3, unequal=-0.3), 10.005, 0.3),
        (CutMains(degrees=29.4, unequal=-0.8, edge_s=60e-6), 10.005, 0.6),
        (CutMains(degrees=149.4, unequal=-0.85, edge_s=60e-6), 10.0, 0.2),
    ],
)
def test_watts_are_covered_where_samples_keep_step_with_the_mains(mains, ratio, start_s, monkeypatch):
    """One channel may see an edge for seconds before the other does; parts without tolerances, so that edges alone are judged."""
    for limit in ("RESISTOR_LIMIT", "SENSOR_LIMIT", "VOLTS_ZERO_LIMIT", "AMPS_ZERO_LIMIT", "SUPPLY_LIMIT"):
        monkeypatch.setattr(thresholds, limit, 1e-6)
    identity = identity_of(2, interval_s=1 / (120 * ratio), skew_s=80.75e-6)
    counts = front_end.counts_of([lambda t: mains.sampled(t, 0), lambda t: mains.sampled(t, 1)], identity, 7, start_s=start_s)
    made = metered_counts(counts, identity, layout_of(1, filter_us=56.4))
    later = joined(made.aggregates, "start_s") >= 1
    errors = np.abs(joined(made.aggregates, "watts") - mains.truth()[2])[later, 0]
    assert np.mean(errors <= joined(made.aggregates, "watts_u95")[later, 0]) >= 0.93
