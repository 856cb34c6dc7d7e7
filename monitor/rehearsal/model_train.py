"""A train on the bench: its motor, its lit cars, where on the lap it is and in which district."""

import math

import numpy as np

from monitor.rehearsal.model_frame import SCANS_PER_TICK
from monitor.rehearsal.model_lamp import Lamp
from monitor.rehearsal.model_motor import Motor
from monitor.rehearsal.model_specs import TrainSpec
from monitor.values.arrays import Floats

_PROFILE_STEPS = 200


class Train:
    """State of one train.

    Attributes:
        spec: What it is.
        motor: Its motor.
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
