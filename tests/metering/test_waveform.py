"""Kinds of waveforms, those of a circuit simulator and of a triac worked out step by step too."""

import numpy as np
import pytest

from tests.metering.converter import metered
from tests.metering.test_ngspice import simulated

HALF_WAVE = """half wave, motor: winding and its own volts
vs s 0 sin(0 {{peak}} 60)
rs s a 0.45
d1 a t dd
.model dd d(is=1e-9 n=1.5 rs=0.02)
rp t 0 100k
rm t m {ohms}
lm m e {henry}
ve e 0 {volts}
.tran 20u {{stop}} 0 20u
"""


def kinds(times, volts, amps):
    made = metered([lambda t: np.interp(t, times, volts), lambda t: np.interp(t, times, amps)], times[-1] - 0.05)
    return [row[0].value for block in made.aggregates for row in block.waveform[1:]]


@pytest.mark.parametrize(("ohms", "henry", "volts"), [(2, 4e-3, 0), (2, 4e-3, 4), (3, 10e-3, 6), (2, 20e-3, 3), (4, 1e-3, 8)])
def test_half_waves_with_a_motor_are_rectified(tmp_path, ohms, henry, volts):
    times, rail, amps, _ = simulated(tmp_path, HALF_WAVE.format(ohms=ohms, henry=henry, volts=volts))
    late = times > 0.3
    assert set(kinds(times[late] - 0.3, rail[late], amps[late])) == {"rectified"}


@pytest.mark.parametrize(("degrees", "ohms", "henry"), [(90, 2, 6e-3), (110, 2, 6e-3), (120, 2, 10e-3)])
def test_a_triac_with_a_motor_is_phase_cut(degrees, ohms, henry):
    # The current of a winding outlasts the zero of the mains; the triac opens where the current ends (explicit Euler, 5 us).
    step_s, rail, amps, amp, on = 5e-6, [], [], 0.0, False
    times = np.arange(0, 1.6, step_s)
    for volts, angle in zip(26.7 * np.sin(2 * np.pi * 60 * times), (360 * 60 * times) % 180, strict=True):
        on = on or (angle >= degrees and angle < 175)
        before, amp = amp, amp + (volts - (ohms + 0.45) * amp) / henry * step_s if on else 0.0
        if before * amp < 0:
            amp, on = 0.0, False
        rail.append(volts - 0.45 * amp if on else 0.0)
        amps.append(amp)
    found = kinds(times, np.array(rail), np.array(amps))
    assert set(found) == {"phase-cut"}
