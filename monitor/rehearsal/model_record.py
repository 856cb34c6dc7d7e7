"""What the slow state did over one block, laid out scan by scan for the waveforms."""

import numpy as np

from monitor.rehearsal.model_frame import SCANS_PER_TICK, Frame
from monitor.rehearsal.model_lamp import NOMINAL_VOLTS, Lamp
from monitor.rehearsal.model_specs import BenchSpec
from monitor.rehearsal.model_train import Train
from monitor.values.arrays import Floats

_FRACTION = np.arange(1, SCANS_PER_TICK + 1) / SCANS_PER_TICK


class SlowRecord:
    """One block.

    Attributes:
        volts: By tick: RMS volts at the loads of each district.
    """

    def __init__(self, spec: BenchSpec, trains: list[Train], lamps: list[Lamp], frame: Frame) -> None:
        self._spec = spec
        self._trains = trains
        self._frame = frame
        self._rows = [_state(trains, lamps)]
        self._open: list[list[bool]] = []
        self._noise: dict[int, Floats] = {}
        self._smooth = np.zeros((0, 0))
        self.volts: list[list[float]] = []

    def note_open(self, opened: list[bool]) -> None:
        """Which protections are open in the tick that begins."""
        self._open.append(opened)

    def note_tick(self, trains: list[Train], lamps: list[Lamp], volts: list[float]) -> None:
        """State at the end of a tick."""
        self._rows.append(_state(trains, lamps))
        self.volts.append(list(volts))

    def freeze(self) -> None:
        """The block is over: lay the state out scan by scan, straight lines between ticks."""
        rows = np.array(self._rows).T
        self._smooth = (rows[:, :-1, None] + np.diff(rows)[:, :, None] * _FRACTION).reshape(len(rows), -1)

    def closed(self, supply: int, frame: Frame) -> Floats:
        """1 where the protection is closed; shape (scans,)."""
        opened = np.array([tick[supply] for tick in self._open], dtype=float)
        return 1.0 - np.repeat(opened, SCANS_PER_TICK)[: frame.scans]

    def conductances(self, district: int, frame: Frame) -> tuple[Floats, Floats, Floats, Floats]:
        """Plain, series and magnet conductance and back-EMF of a district; shape (scans,) each."""
        steady = self._spec.districts[district].steady_amps / NOMINAL_VOLTS
        plain = steady + self._smooth[3 * len(self._trains) + district]
        series, magnet, pull = np.zeros(frame.scans), np.zeros(frame.scans), np.zeros(frame.scans)
        noisy = np.zeros(frame.scans)
        for n, train in enumerate(self._trains):
            engine_share, car_share = self._shares(train, district, frame)
            if engine_share is None or car_share is None:
                continue
            engine = self._smooth[3 * n] * frame.tracks["contact"][n] * engine_share
            cars = self._smooth[3 * n + 1] * frame.tracks["cars"][n] * car_share
            joint = frame.tracks["joint"][n]
            if joint.any():
                left = 1 / (1 + joint * (engine + cars))
                engine, cars = engine * left, cars * left
            plain = plain + cars
            # Brushes that stand make no hash.
            noisy += engine * train.spec.hash_noise * min(train.motor.speed, 1.0)
            if train.spec.motor == "series":
                series += engine
            else:
                magnet += engine
                pull += engine * self._smooth[3 * n + 2]
        self._noise[district] = noisy / (plain + series + magnet + 1e-9)
        return plain, series, magnet, pull / (magnet + 1e-12)

    def hash_noise(self, rng: np.random.Generator, district: int, frame: Frame) -> Floats:
        """Factor on the amps of a district for the hash of brushes."""
        noise = self._noise[district]
        return 1 + noise * rng.standard_normal(frame.scans, dtype=np.float32) if noise.any() else np.ones(frame.scans)

    @staticmethod
    def _shares(train: Train, district: int, frame: Frame) -> tuple[Floats | None, Floats | None]:
        if train.going_to is None:
            share = np.ones(frame.scans) if train.district == district else None
            return share, share
        engine, cars = train.crossed_scans(frame.start_scan, frame.scans)
        if train.going_to == district:
            return engine, cars
        return (1 - engine, 1 - cars) if train.district == district else (None, None)


def _state(trains: list[Train], lamps: list[Lamp]) -> list[float]:
    row: list[float] = []
    for train in trains:
        row += (train.motor.siemens, train.cars.siemens, train.motor.emf)
    row += [lamp.siemens for lamp in lamps]
    return row
