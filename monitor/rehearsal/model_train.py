"""A train on the bench: its motor, its lit cars, where on the lap it is and in which district.

A series (universal) motor looks like a resistance that grows with speed, and its torque goes with the current squared. A magnet motor has
a back-EMF that grows with speed, and its torque goes with the current (textbook machine equations). Torque 1 is that of level running. A
lamp's resistance follows the temperature of its filament, so it draws many times its hot current when it is cold.
"""

import math

import numpy as np

from monitor.rehearsal.model_frame import SCANS_PER_TICK
from monitor.rehearsal.model_specs import TrainSpec
from monitor.values.arrays import Floats

_COLD = 0.11
"""Room temperature over running temperature of a filament (300 K over 2700 K; common practice, no published source)."""
_COLD_POWER = _COLD**4
_RESISTANCE_POWER = 1.2
"""Tungsten: resistance goes about with temperature to the 1.2 (common practice, no published source)."""
NOMINAL_VOLTS = 14.0


class Lamp:
    """A group of like lamps.

    Attributes:
        temperature: 1 at nominal volts.
    """

    __slots__ = ("_hot_siemens", "_tau_s", "siemens", "temperature")

    def __init__(self, amps: float, tau_s: float) -> None:
        self._hot_siemens = amps / NOMINAL_VOLTS
        self._tau_s = tau_s
        self.temperature = 0.95
        self.siemens = 0.0
        self.step(NOMINAL_VOLTS, 0.0)

    def step(self, volts_rms: float, dt_s: float) -> None:
        """Move on by dt_s: heat in goes with volts squared over resistance, heat out with temperature to the fourth."""
        if self._hot_siemens <= 0:
            return
        square = (volts_rms / NOMINAL_VOLTS) ** 2
        temperature = self.temperature
        rate = dt_s / self._tau_s
        change = rate * (square * temperature**-_RESISTANCE_POWER - temperature**4 + _COLD_POWER)
        if -0.02 < change < 0.02:
            temperature += change
        else:
            for _ in range(4):
                change = rate / 4 * (square * temperature**-_RESISTANCE_POWER - temperature**4 + _COLD_POWER)
                temperature = min(max(temperature + max(min(change, 0.2), -0.2), _COLD), 1.6)
        self.temperature = temperature
        self.siemens = self._hot_siemens * temperature**-_RESISTANCE_POWER


_AC_EMF_SHARE = 0.55
"""Back-EMF over peak volts of a magnet motor behind a rectifier at its running point."""


class Motor:
    """Electrical state of one engine.

    Attributes:
        speed: 1 on the level at run_volts.
        siemens: Conductance of a series motor now; of the conducting branch of a magnet motor.
        emf: Back-EMF of a magnet motor now, volts; 0 for a series motor.
    """

    __slots__ = ("_emf_per_speed", "_is_ac", "_series_ohms", "_slope", "_spec", "emf", "siemens", "speed")

    def __init__(self, spec: TrainSpec, *, is_ac: bool) -> None:
        self._spec = spec
        self._is_ac = is_ac
        self._slope = spec.start_ratio - 1
        self._series_ohms = spec.run_volts / spec.run_amps / spec.start_ratio
        if is_ac:
            self._emf_per_speed = math.sqrt(2) * spec.run_volts * _AC_EMF_SHARE
            self._series_ohms = (
                self._series_ohms
                if spec.motor == "series"
                else rectified_mean(spec.run_volts, self._emf_per_speed) / spec.run_amps
            )
        elif spec.motor == "magnet":
            self._emf_per_speed = spec.run_volts * (1 - spec.armature)
            self._series_ohms = spec.run_volts * spec.armature / spec.run_amps
        else:
            self._emf_per_speed = 0.0
        self.speed = 1.0
        self.siemens = 0.0
        self.emf = 0.0
        self._refresh()

    def step(self, volts_rms: float, contact: float, load: float, dt_s: float) -> None:
        """Move on by dt_s at the given RMS volts, share of time in contact, and load (1: level running)."""
        spec = self._spec
        per_amp = self.amps_for_torque(volts_rms) / spec.run_amps
        torque = contact * (per_amp * per_amp if spec.motor == "series" else per_amp)
        drag = load * (1 - spec.drag + spec.drag * self.speed * self.speed)
        self.speed = min(max(self.speed + (torque - drag) * dt_s / spec.inertia_s, 0.0), 3.0)
        self._refresh()

    def amps_for_torque(self, volts_rms: float) -> float:
        """The current that makes torque: RMS of a series motor, mean of a magnet motor."""
        if self._spec.motor == "series":
            return volts_rms * self.siemens
        if self._is_ac:
            return rectified_mean(volts_rms, self.emf) * self.siemens
        return max(volts_rms - self.emf, 0.0) * self.siemens

    def equivalent_siemens(self, volts_rms: float) -> float:
        """RMS amps over RMS volts at these volts."""
        if self._spec.motor == "series" or volts_rms < 0.1:
            return self.siemens if self._spec.motor == "series" else 0.0
        if self._is_ac:
            return rectified_rms(volts_rms, self.emf) * self.siemens / volts_rms
        return max(volts_rms - self.emf, 0.0) * self.siemens / volts_rms

    def _refresh(self) -> None:
        if self._spec.motor == "series":
            self.siemens = 1 / (self._series_ohms * (1 + self._slope * self.speed))
        else:
            self.siemens = 1 / self._series_ohms
            self.emf = self._emf_per_speed * self.speed


def rectified_mean(volts_rms: float, emf: float) -> float:
    """Mean over a cycle of max(|v| - emf, 0) for a sine v: integral of the part of the sine above emf."""
    peak = math.sqrt(2) * volts_rms
    if emf >= peak:
        return 0.0
    x = emf / peak
    return 2 * peak / math.pi * (math.sqrt(1 - x * x) - x * math.acos(x))


def rectified_rms(volts_rms: float, emf: float) -> float:
    """RMS over a cycle of max(|v| - emf, 0) for a sine v."""
    peak = math.sqrt(2) * volts_rms
    if emf >= peak:
        return 0.0
    low = math.asin(emf / peak)
    span = math.pi - 2 * low
    square = (peak * peak / 2 + emf * emf) * span + peak * peak / 2 * math.sin(2 * low) - 4 * peak * emf * math.cos(low)
    return math.sqrt(max(square, 0.0) / math.pi)


_PROFILE_STEPS = 200


class Train:
    """State of one train.

    Attributes:
        cars: The lamps of its cars.
        travelled: Laps gone, with fraction.
        district: Where it is, by position; -1: off the layout.
        going_to: Where it is being driven; None: nowhere.
    """

    __slots__ = (
        "_car_scans",
        "_engine_scans",
        "_gone_scan",
        "_profile",
        "_wobble",
        "cars",
        "district",
        "going_to",
        "motor",
        "spec",
        "travelled",
    )

    def __init__(self, spec: TrainSpec, *, is_ac: bool) -> None:
        self.spec = spec
        self.motor = Motor(spec, is_ac=is_ac)
        self.cars = Lamp(spec.car_amps, spec.car_tau_s)
        self.travelled = spec.place
        self.district = spec.district
        self.going_to: int | None = None
        self._gone_scan = 0
        self._engine_scans = self._car_scans = 1
        self._wobble = 0.0
        self._profile = _lap_profile(spec)

    def step(self, volts: float, contact: float, load: float, dt_s: float) -> float:
        """Move on at the engine's volts and contact, with a factor on its load; returns the share of a lap gone in this step."""
        self.motor.step(volts, contact, load * self.lap_load * (1 + self._wobble), dt_s)
        step = self.motor.speed * dt_s / self.spec.lap_s
        self.travelled += step
        if self.spec.ripple:
            self.motor.siemens *= 1 + self.spec.ripple * math.sin(2 * math.pi * self.travelled * self.spec.wheel_turns)
        return step

    @property
    def lap_load(self) -> float:
        """Load torque where it is now, 1 on the level."""
        return self._profile[int(self.travelled * _PROFILE_STEPS) % _PROFILE_STEPS]

    def waver(self, normal: float, dt_s: float) -> None:
        """Slow noise of the load: first-order (Ornstein-Uhlenbeck) with a quarter of a second."""
        decay = dt_s / 0.25
        self._wobble += -self._wobble * decay + self.spec.wobble * (2 * decay) ** 0.5 * normal

    def drive_to(self, district: int, at_scan: int, engine_scans: int, car_scans: int) -> None:
        """Begin to cross into another district."""
        self.arrive()
        self.going_to = district
        self._gone_scan, self._engine_scans, self._car_scans = at_scan, max(engine_scans, 1), max(car_scans, 1)

    def arrive(self) -> None:
        """End a crossing at once."""
        if self.going_to is not None:
            self.district, self.going_to = self.going_to, None

    def crossed(self, scan: int) -> tuple[float, float]:
        """Shares of engine and cars that are over the gap at a scan."""
        if self.going_to is None:
            return 0.0, 0.0
        gone = scan - self._gone_scan
        return min(max(gone / self._engine_scans, 0.0), 1.0), min(max(gone / self._car_scans, 0.0), 1.0)

    def crossed_scans(self, first_scan: int, scans: int) -> tuple[Floats, Floats]:
        """The same for each scan of a block."""
        gone = np.arange(first_scan, first_scan + scans) - self._gone_scan
        return np.clip(gone / self._engine_scans, 0, 1), np.clip(gone / self._car_scans, 0, 1)

    def engine_district(self, scan: int) -> int:
        """Where most of the engine is at a scan, while the train crosses too; -1: off the layout."""
        return self.district if self.going_to is None or self.crossed(scan)[0] < 0.5 else self.going_to

    def tick_shares(self, tick_scan: int) -> tuple[tuple[int, float, float], ...]:
        """(district, share of engine, share of cars) for the tick that starts at a scan."""
        if self.going_to is None:
            return ((self.district, 1.0, 1.0),) if self.district >= 0 else ()
        engine, cars = self.crossed(tick_scan + SCANS_PER_TICK // 2)
        both = ((self.district, 1 - engine, 1 - cars), (self.going_to, engine, cars))
        return tuple(part for part in both if part[0] >= 0)


def _lap_profile(spec: TrainSpec) -> list[float]:
    place = np.arange(_PROFILE_STEPS) / _PROFILE_STEPS
    load = np.ones(_PROFILE_STEPS)
    for grade in spec.grades:
        away = np.abs((place - grade.place + 0.5) % 1 - 0.5)
        load += grade.load * np.clip((grade.width / 2 - away) / (grade.width * 0.15) + 0.5, 0, 1)
    profile: list[float] = np.maximum(load, 0.15).tolist()
    return profile
