"""The model against figures from outside: hand-worked Thevenin sums (Ohm, Kirchhoff; the same from ngspice), IEC 60255-149 times,
RMS of phase-cut and offset waves (textbook integrals), a rectifier circuit solved by ngspice, integrals done by scipy.
"""

import math
import re
import subprocess

import numpy as np
import pytest
from scipy.integrate import quad

from monitor.rehearsal.model import Bench
from monitor.rehearsal.model_acts import StepLoad
from monitor.rehearsal.model_network import DistrictLoad, WaveNetwork
from monitor.rehearsal.model_slow import Breaker, typical_points
from monitor.rehearsal.model_specs import BenchSpec, BreakerSpec, ConverterSpec, DistrictSpec, SupplySpec, TrainSpec
from monitor.rehearsal.model_train import Lamp, Motor, rectified_mean, rectified_rms

SCANS = 7200
THETA = np.arange(SCANS) * 2 * math.pi / 720
FLAT = np.ones(SCANS)
HOLDS = BreakerSpec(kind="none", rated_amps=10)


def supply(volts, ohms, **more):
    return SupplySpec(
        name="S", current=more.pop("current", "ac"), volts_open=volts, source_ohms=ohms, rated_va=100, max_volts=18, breaker=HOLDS, **more
    )  # fmt: skip


def load(ohms=math.inf, **more):
    fields = {
        "wave": "sine", "level": FLAT, "feed": FLAT, "dc_volts": 0 * FLAT, "plain": FLAT / ohms, "series": 0 * FLAT,
        "lag_rad": 0.0, "magnet": 0 * FLAT, "emf": 0 * FLAT, "own_ohms": 0.0, "feeder_ohms": 0 * FLAT,
    }  # fmt: skip
    return DistrictLoad(**fields | more)


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


def solved(spec, *loads):
    return WaveNetwork(spec, spec.volts_open * FLAT, list(loads)).volts(THETA)


def test_winding_feeder_and_load_share_the_volts():
    # 18.9 V open circuit, 0.45 ohm winding, 0.101 ohm feeder loop, 3 ohm load: 5.3224 A, 16.505 V, 15.967 V.
    got = solved(supply(18.9, 0.45), load(3.0, feeder_ohms=0.101 * FLAT))
    assert rms(got.amps[0]) == pytest.approx(5.3224, abs=5e-4)
    assert rms(got.volts[0]) == pytest.approx(16.505, abs=1e-3)
    assert rms(got.load_volts[0]) == pytest.approx(15.967, abs=1e-3)


def test_neighbours_sag_together():
    # 20 V behind 0.2 ohm: 10 A in all lose 2.0 V, whoever draws them.
    got = solved(supply(20.0, 0.2), load(18 / 7), load(18 / 3))
    assert [rms(volts) for volts in got.volts] == pytest.approx([18.0, 18.0])
    assert [rms(amps) for amps in got.amps] == pytest.approx([7.0, 3.0])


@pytest.mark.parametrize(
    ("degrees", "share"),
    [(0, 1.0), (30, 0.98548), (45, 0.95350), (60, 0.89694), (90, 0.70711), (120, 0.44216), (135, 0.30141), (150, 0.16981)],
)
def test_a_phase_cut_output_gives_the_rms_of_its_angle(degrees, share):
    fine = np.arange(SCANS) * 2 * math.pi / SCANS  # the sample at the switching edge counts whole: make it small
    volts = WaveNetwork(supply(16.0, 0.0), 16 * FLAT, [load(4.0, wave="phase-cut", level=share * FLAT)]).volts(fine).volts[0]
    assert rms(volts) == pytest.approx(16 * share, rel=0.002)
    first = np.flatnonzero(np.abs(volts[1 : SCANS // 2]) > 1e-9)[0] + 1
    assert first / 20 == pytest.approx(degrees, abs=0.3)


@pytest.mark.parametrize(("offset", "total"), [(1, 16.0312), (2, 16.1245), (4, 16.4924), (5, 16.7631)])
def test_an_offset_adds_in_squares(offset, total):
    got = solved(supply(16.0, 0.0), load(5.0, dc_volts=offset * FLAT))
    assert rms(got.volts[0]) == pytest.approx(total, abs=1e-4)
    assert float(np.mean(got.volts[0])) == pytest.approx(offset)


def test_a_rectified_output_has_the_mean_of_a_full_wave():
    got = solved(supply(16.0, 0.0, current="dc"), load(5.0, wave="rectified"))
    assert float(np.mean(got.volts[0])) == pytest.approx(14.4051, abs=1e-3)


def test_harmonics_leave_the_rms_alone():
    assert rms(solved(supply(16.0, 0.0, harmonics=(0.05, -0.03)), load(9.0)).volts[0]) == pytest.approx(16.0)


def test_a_series_motor_has_the_power_factor_of_its_lag():
    network = WaveNetwork(supply(16.0, 0.0), 16 * FLAT, [load(series=FLAT / 8, lag_rad=0.4)])
    volts, amps = network.volts(THETA).volts[0], network.amps(0, THETA)
    assert float(np.mean(volts * amps)) / (rms(volts) * rms(amps)) == pytest.approx(math.cos(0.4), abs=1e-6)


def test_a_motor_behind_a_rectifier_agrees_with_ngspice(tmp_path):
    deck = tmp_path / "rectifier.cir"
    deck.write_text(
        """back-EMF behind an ideal bridge, beside a resistor, on a soft source
V1 e 0 SIN(0 22.627417 60)
Rs e a 0.45
Rl a 0 5
B1 a 0 I = V(a) > 8 ? (V(a) - 8) / 2 : (V(a) < -8 ? (V(a) + 8) / 2 : 0)
.tran 2u 50m 0 2u
.meas tran vrms RMS v(a) FROM=0.01666667 TO=0.05
.meas tran irms RMS i(V1) FROM=0.01666667 TO=0.05
.end
""",
        encoding="utf-8",
    )
    said = subprocess.run(["ngspice", "-b", str(deck)], capture_output=True, text=True, check=True, timeout=60).stdout
    volts, amps = (float(re.search(rf"^{name}\s*=\s*(\S+)", said, re.MULTILINE)[1]) for name in ("vrms", "irms"))
    got = solved(supply(16.0, 0.45), load(5.0, magnet=FLAT / 2, emf=8 * FLAT))
    assert rms(got.volts[0]) == pytest.approx(volts, rel=2e-3)
    assert rms(got.amps[0]) == pytest.approx(amps, rel=2e-3)


@pytest.mark.parametrize("emf", [0.0, 5.0, 12.0, 21.0, 30.0])
def test_currents_above_a_back_emf_agree_with_numerical_integrals(emf):
    def above(angle):
        return max(math.sqrt(2) * 15 * math.sin(angle) - emf, 0.0)

    assert rectified_mean(15, emf) == pytest.approx(quad(above, 0, math.pi, limit=200)[0] / math.pi, abs=1e-6)
    square = quad(lambda angle: above(angle) ** 2, 0, math.pi, limit=200)[0] / math.pi
    assert rectified_rms(15, emf) == pytest.approx(math.sqrt(square), abs=1e-5)


@pytest.mark.parametrize(
    ("multiple", "heat", "seconds"),
    [
        (1.1, 0, 175.127),
        (1.35, 0, 79.562),
        (1.5, 0, 58.7787),
        (2, 0, 28.7682),
        (2, 0.81, 6.14086),
        (3, 0, 11.7783),
        (6, 0, 2.8171),
    ],
)
def test_thermal_breakers_open_when_the_standard_says(multiple, heat, seconds):
    breaker = Breaker(BreakerSpec(kind="thermal", rated_amps=1.0, hold_ratio=1.0, tau_s=100.0))
    breaker.heat = heat
    steps = next(n for n in range(1, 400_000) if breaker.step(multiple, 0.01))
    assert steps * 0.01 == pytest.approx(seconds, abs=0.011)


def test_data_sheet_points_are_those_of_the_typical_breaker():
    spec = BreakerSpec(kind="thermal", rated_amps=5.0, hold_ratio=1.0, tau_s=100.0, spread=1.25)
    assert dict(typical_points(spec)) == pytest.approx({1.35: 79.562, 2.0: 28.7682, 3.0: 11.7783, 6.0: 2.8171}, abs=1e-3)


def test_a_breaker_that_opened_cools_and_closes_and_is_quicker_the_second_time():
    breaker = Breaker(BreakerSpec(kind="thermal", rated_amps=1.0, hold_ratio=1.0, tau_s=100.0, reset_heat=0.5))
    first = next(n for n in range(40_000) if breaker.step(2.0, 0.01))
    closed = next(n for n in range(40_000) if breaker.step(0.0, 0.01) or not breaker.is_open)
    assert closed * 0.01 == pytest.approx(100 * math.log(2), abs=0.05)
    assert next(n for n in range(40_000) if breaker.step(2.0, 0.01)) < 0.7 * first


def test_a_cold_lamp_draws_many_times_its_running_current():
    # Common practice, no published source: some ten times or more, over within about a tenth of a second.
    lamp = Lamp(1.0, 0.06)
    hot = 1.0 / 14
    for _ in range(2000):
        lamp.step(0.0, 0.01)
    assert 6 < lamp.siemens / hot < 20
    for _ in range(30):
        lamp.step(14.0, 0.01)
    assert lamp.siemens == pytest.approx(hot, rel=0.03)


@pytest.mark.parametrize("motor", ["series", "magnet"])
def test_motors_run_at_their_figures_start_higher_and_pull_more_uphill(motor):
    spec = TrainSpec(name="T", district=0, motor=motor, run_amps=2.0, run_volts=13.0, start_ratio=1.7)
    engine = Motor(spec, is_ac=True)
    for _ in range(1500):
        engine.step(13.0, 1.0, 1.0, 0.01)
    assert engine.speed == pytest.approx(1.0, abs=0.02)
    level = engine.amps_for_torque(13.0)
    assert level == pytest.approx(2.0, rel=0.02)
    for _ in range(1500):
        engine.step(13.0, 1.0, 1.5, 0.01)
    assert engine.amps_for_torque(13.0) > 1.1 * level
    for _ in range(1500):
        engine.step(0.0, 1.0, 1.0, 0.01)
    assert engine.speed == 0.0
    assert engine.amps_for_torque(13.0) > 1.6 * level


def test_the_whole_bench_gives_the_thevenin_figures_in_counts():
    quiet = ConverterSpec(noise_counts=0.0, zero_error_counts=0.0, gain_error=0.0, volts_span=32, amps_span=16, bits=12)
    district = DistrictSpec(
        name="D", supply=0, output="A", level=1.0, own_ohms=0.0, steady_amps=14 / 3, feeder_ohms=0.101, has_far_volts=True
    )  # fmt: skip
    spec = BenchSpec(title="t", supplies=(supply(18.9, 0.45),), districts=(district,), converter=quiet, hertz_wander=0.0)
    bench = Bench(spec, [StepLoad(at_s=3.0, seconds=9, district=0, amps=14 / 3)], np.random.default_rng(1))
    counts = bench.advance(240).astype(float)
    channels = bench.converter.identity.channels
    units = [(counts[:, n] - c.zero_counts) * c.units_per_count for n, c in enumerate(channels)]
    cycles = slice(0, round(50 / 60 / 832e-6))
    assert [rms(values[cycles]) for values in units] == pytest.approx([16.505, 5.3224, 15.967], rel=0.003)
    # Half the resistance from 3 s on: 18.9 / (0.45 + 0.101 + 1.5) = 9.215 A (Ohm).
    more = bench.advance(240).astype(float)
    assert rms((more[-1002:, 1] - channels[1].zero_counts) * channels[1].units_per_count) == pytest.approx(9.215, rel=0.004)


def test_channels_are_converted_one_after_the_other():
    converter = ConverterSpec(noise_counts=0, zero_error_counts=0, gain_error=0, bits=14)
    district = DistrictSpec(name="D", supply=0, output="A", level=1.0, own_ohms=0.0, steady_amps=3.0)
    spec = BenchSpec(title="t", supplies=(supply(16, 0.0),), districts=(district,), converter=converter, hertz_wander=0.0)
    counts = Bench(spec, (), np.random.default_rng(2)).advance(240).astype(float)
    turned = np.exp(-2j * np.pi * 60 * 832e-6 * np.arange(len(counts)))
    angles = np.angle((turned[:2804, None] * counts[:2804]).mean(0))
    lag = (angles[1] - angles[0] + np.pi) % (2 * np.pi) - np.pi
    assert lag == pytest.approx(2 * math.pi * 60 * 104e-6, abs=0.003)
