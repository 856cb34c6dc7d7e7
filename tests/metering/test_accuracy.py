"""Figures of known waveforms against closed forms, through a quantised, skewed and noisy 10-bit converter."""

import numpy as np
import pytest

from monitor.values import WaveformKind
from tests.metering.converter import (
    FULL_AMPS,
    FULL_VOLTS,
    identity_of,
    joined,
    layout_of,
    metered,
    phase_cut,
    pulsed,
    rectified,
    sine,
)  # fmt: skip
from tests.metering.waveforms import cut_rms

SETTLED = 70
"""Half cycles: half a second until the brackets of a steep edge are narrow."""


def errors(made, volts, amps, watts):
    """Largest errors of one-cycle figures once settled, as shares of full scale."""
    figures = [joined(made.readings, name)[SETTLED:, 0] for name in ("volts_rms", "amps_rms", "watts")]
    scales = (FULL_VOLTS, FULL_AMPS, FULL_VOLTS * FULL_AMPS)
    return [float(np.abs(f - w).max() / s) for f, w, s in zip(figures, (volts, amps, watts), scales, strict=True)]


def within(made, volts, amps, watts):
    volts_error, amps_error, watts_error = errors(made, volts, amps, watts)
    assert volts_error < 0.005
    assert amps_error < 0.005
    assert watts_error < 0.015


@pytest.mark.parametrize("hertz", [60.0, 60.3, 50.0, 49.8])
@pytest.mark.parametrize("lag", [0, 30, 60])
def test_sines_at_power_factors_from_1_to_one_half(hertz, lag):
    nominal = round(hertz / 10) * 10
    made = metered([sine(16, hertz), sine(5, hertz, -lag)], 2.5, layout=layout_of(1, nominal), start_s=0.0123)
    # P = U I cos(phi) (IEEE 1459 section 3.1.1).
    within(made, 16, 5, 80 * np.cos(np.radians(lag)))
    assert joined(made.readings, "frequency_hz") == pytest.approx(hertz, abs=0.02)
    assert {kind for block in made.aggregates for row in block.waveform for kind in row} == {WaveformKind.SINE}


@pytest.mark.parametrize("hertz", [60, 50])
@pytest.mark.parametrize("degrees", [30, 45, 60, 90, 120, 135])
def test_phase_cut_sines(hertz, degrees):
    made = metered(
        [phase_cut(16, degrees, hertz), phase_cut(16, degrees, hertz, 4)], 3, layout=layout_of(1, hertz), start_s=0.0041
    )
    volts = cut_rms(16, degrees)
    within(made, volts, volts / 4, volts**2 / 4)
    assert joined(made.readings, "frequency_hz")[SETTLED:] == pytest.approx(hertz, abs=0.02)
    angle = np.concatenate([block.conduction_degrees[:, 0] for block in made.aggregates])
    assert angle[4:] == pytest.approx(180 - degrees, abs=2)
    assert {row[0] for block in made.aggregates for row in block.waveform} == {WaveformKind.PHASE_CUT}


def test_sine_with_the_offset_that_sounds_a_whistle():
    made = metered([sine(16, offset=4), sine(4, offset=1)], 2)
    # sqrt(U2 + D2): 16.4924 V with 4 V of offset (power electronics textbooks; ngspice agrees).
    within(made, 16.4924, np.sqrt(17), 16 * 4 + 4 * 1)
    assert joined(made.readings, "volts_mean")[:, 0] == pytest.approx(4, abs=0.1)


@pytest.mark.parametrize(("half", "rms", "mean"), [(False, 16.0, 14.4051), (True, 11.3137, 7.2025)])
def test_rectified_sines(half, rms, mean):
    # Means 2 sqrt(2) U / pi and half of it (power electronics textbooks).
    made = metered([rectified(16, half=half), rectified(16, half=half, load=4)], 2)
    within(made, rms, rms / 4, rms**2 / 4)
    assert joined(made.readings, "volts_mean")[:, 0] == pytest.approx(mean, abs=0.15)
    assert {row[0] for block in made.aggregates for row in block.waveform} == {WaveformKind.RECTIFIED}


def test_direct_current():
    made = metered([lambda t: 12 + 0 * t, lambda t: 3 + 0 * t], 2)
    within(made, 12, 3, 36)
    assert {row[0] for block in made.aggregates for row in block.waveform} == {WaveformKind.DC}
    assert np.isnan(joined(made.readings, "frequency_hz")).all()


def test_pulse_width_needs_its_mean_over_seconds():
    # Nothing between the samples of a pulse is known: only the mean over many pulses is right, U sqrt(D) (textbook).
    made = metered([pulsed(16, 0.4, 97.3), pulsed(16, 0.4, 97.3, 4)], 6)
    squares = joined(made.aggregates, "volts_rms")[:, 0] ** 2
    assert np.sqrt(squares[:15].mean()) == pytest.approx(16 * np.sqrt(0.4), abs=0.005 * FULL_VOLTS)
    assert {row[0] for block in made.aggregates for row in block.waveform} == {WaveformKind.PULSES}


def test_an_output_that_is_off():
    made = metered([lambda t: 0 * t, lambda t: 0 * t], 1)
    assert {row[0] for block in made.aggregates for row in block.waveform} == {WaveformKind.OFF}
    assert made.troubles == []


def test_harmonics_of_the_worked_example():
    # IEEE 1459-2010 annex B: U 100, 8, 15, 5; I 100, 20, 15, 10 at orders 1, 3, 5, 7 (inputs from memory; the results were
    # computed twice, once by pqopen-lib: U 101.558, I 103.562, P 8632.79), here at 13 % and 4 % of the size.
    def wave(sizes, angles, factor):
        return lambda t: (
            factor
            * np.sqrt(2)
            * sum(
                size * np.sin(2 * np.pi * 60 * order * t - np.radians(angle))
                for order, size, angle in zip((1, 3, 5, 7), sizes, angles, strict=True)
            )
        )

    volts = wave((100, 8, 15, 5), (0, 70, -141, -142), 0.13)
    amps = wave((100, 20, 15, 10), (30, 165, -234, -234), 0.04)
    made = metered([volts, amps], 2)
    within(made, 13.2025, 4.14246, 8632.79 * 0.13 * 0.04)
    power_factor = np.concatenate([(block.watts / block.volt_amperes)[:, 0] for block in made.aggregates])
    assert power_factor == pytest.approx(0.8208, abs=0.01)


def test_non_active_power_and_crest():
    # 16 V, 5 A at 30 degrees and 2 A of third harmonic: S 86.163 VA, P 69.282 W, N 51.225 (IEEE 1459 section 3.1.2, computed).
    amps = lambda t: sine(5, degrees=-30)(t) + sine(2, hertz=180)(t)  # noqa: E731 - a waveform is a function of time
    made = metered([sine(16), amps], 2)
    (block,) = made.aggregates
    assert block.volt_amperes[:, 0] == pytest.approx(86.163, rel=0.01)
    assert block.watts[:, 0] == pytest.approx(69.282, rel=0.01)
    assert block.non_active_va[:, 0] == pytest.approx(51.225, rel=0.02)
    assert block.volts_crest[:, 0] == pytest.approx(np.sqrt(2), rel=0.02)


def test_skew_is_corrected_before_products():
    # One conversion apart (104 us) is 2.2 degrees at 60 Hz; a whole scan less one conversion is 16: at 60 degrees of lag the power
    # would be 25 % off.
    identity = identity_of(2, skew_s=728e-6)
    made = metered([sine(16), sine(5, degrees=-60)], 2, identity=identity, noise=0.3)
    assert joined(made.readings, "watts")[:, 0] == pytest.approx(40, abs=0.6)


def test_a_far_channel_that_is_missing_gives_nan():
    assert np.isnan(joined(metered([sine(16), sine(5)], 1).readings, "far_volts_rms")).all()
