"""Trains that go round while hands move the throttle, by plain kinematics: where they are at each moment is known exactly.

An oracle for the place of a spot. It shares no code with what it checks: a start voltage instead of a power of the volts, a first-order
lag of the speed, hills that slow the train, stops by dead track, and losses at the spot among losses anywhere.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
STEP_S = 0.1


@dataclass
class LapWorld:
    """One train on one district.

    ``spot`` lies 0-1 of a lap from where the train was at the start; ``lost_s`` are the moments of the losses.
    """

    at_s: Floats
    volts: Floats
    amps: Floats
    laps: Floats
    spot: float
    lost_s: Floats


def lap_world(
    seed: int, *, minutes: float, lap_s: float | None = None, chance: float = 0.8, stray_a_minute: float = 0.5
) -> LapWorld:
    """A world drawn at random: laps of 9 to 40 s, a hand at the throttle twice a minute or so, dead track now and then."""
    rng = np.random.default_rng(seed)
    n = int(minutes * 60 / STEP_S)
    lap_s = float(rng.uniform(9, 40)) if lap_s is None else lap_s
    volts = throttled(rng, n)
    start_volts, lag_s = float(rng.uniform(2, 7)), float(rng.uniform(0.3, 2.5))
    hill, slower, spot = float(rng.random()), float(rng.uniform(0.05, 0.25)), float(rng.random())
    laps, uphill, speed, place = np.zeros(n), np.zeros(n), 1.0, 0.0
    for k in range(n):
        laps[k] = place
        uphill[k] = abs((place - hill + 0.5) % 1 - 0.5) < 0.12
        wanted = max(0.0, (volts[k] - start_volts) / (14 - start_volts)) * (1 - slower * uphill[k]) * rng.normal(1, 0.03)
        speed += (wanted - speed) * STEP_S / lag_s
        place += max(speed, 0.0) * STEP_S / lap_s
    amps = np.where(volts > 1, 1.5 * (1 + 1.5 * slower * uphill) + rng.normal(0, 0.05, n), 0.0)
    at_s = np.arange(n) * STEP_S
    passed = np.interp(np.arange(np.ceil(laps[0] - spot), laps[-1] - spot) + spot, laps + 1e-9 * np.arange(n), at_s)
    passed = passed[rng.random(len(passed)) < chance]
    stray = rng.uniform(0, at_s[-1], rng.poisson(stray_a_minute * minutes))
    return LapWorld(at_s, volts, amps, laps, spot, np.sort(np.concatenate([passed, stray])))


def throttled(rng: np.random.Generator, n: int) -> Floats:
    """Volts near 14 that a hand moves by up to a fifth, and that are gone for some seconds now and then."""
    volts, k, now = np.zeros(n), 0, 14.0
    while k < n:
        stays = int(rng.uniform(20, 60) / STEP_S)
        volts[k : k + stays] = now
        k += stays
        wanted = 14 * float(rng.uniform(0.82, 1.08))
        ramp = int(rng.uniform(0.5, 2.5) / STEP_S)
        between = np.linspace(now, wanted, ramp)
        volts[k : k + ramp] = between[: max(0, n - k)]
        k, now = k + ramp, wanted
        if rng.random() < 0.1:
            k += int(rng.uniform(2, 12) / STEP_S)
    return volts
