"""Slow state of the bench, tick by tick on RMS figures: speed of trains, heat of filaments and of the protection."""

import math
from collections.abc import Callable

import numpy as np

from monitor.rehearsal.model_frame import SCANS_PER_TICK, TRACKS, Frame, Track
from monitor.rehearsal.model_specs import BenchSpec, BreakerSpec
from monitor.rehearsal.model_train import NOMINAL_VOLTS, Lamp, Train
from monitor.values.arrays import Floats


class Breaker:
    """State of one protection.

    Attributes:
        heat: Share of tripping heat (IEC 60255-149: 1 trips).
        is_open: Whether it is open.
        closed_again: True in the step in which it closed again.
        fold: Share of its volts that a foldback limiter lets through; 1 while nothing is wrong.
    """

    __slots__ = ("_open_s", "_over_s", "_spec", "closed_again", "fold", "heat", "is_open")

    def __init__(self, spec: BreakerSpec) -> None:
        self._spec = spec
        self.heat = 0.0
        self.is_open = False
        self.closed_again = False
        self.fold = 1.0
        self._over_s = 0.0
        self._open_s = 0.0

    @property
    def hold_amps(self) -> float:
        """What it carries for ever."""
        return self._spec.rated_amps * self._spec.hold_ratio

    def step(self, amps_rms: float, dt_s: float) -> bool:
        """Move on by dt_s.

        Returns:
            True where it opens at the end of this step.
        """
        self.closed_again = False
        if self._spec.kind == "none":
            return False
        if self.is_open:
            self._wait(dt_s)
            return False
        if self._trips(amps_rms, dt_s):
            self.is_open = True
            self._open_s = 0.0
            self._over_s = 0.0
            return True
        return False

    def _trips(self, amps_rms: float, dt_s: float) -> bool:
        spec = self._spec
        if spec.instant_ratio is not None and amps_rms > spec.instant_ratio * spec.rated_amps:
            self._over_s += dt_s
        else:
            self._over_s = 0.0
        instant = spec.instant_ratio is not None and self._over_s >= spec.delay_s
        if spec.folds_to is not None:
            self.fold = spec.folds_to * spec.rated_amps / amps_rms if instant else 1.0
            return False
        if spec.kind == "electronic":
            return instant
        goal = (amps_rms / self.hold_amps) ** 2
        self.heat = goal + (self.heat - goal) * math.exp(-dt_s / (spec.tau_s * spec.spread))
        return instant or self.heat >= 1.0

    def _wait(self, dt_s: float) -> None:
        spec = self._spec
        self._open_s += dt_s
        self.heat *= math.exp(-dt_s / (spec.tau_s * spec.spread * spec.cool_ratio))
        if spec.kind == "fuse":
            return
        by_time = spec.kind == "electronic" or spec.reset == "manual"
        ready = self._open_s >= spec.reset_after_s if by_time else self.heat <= spec.reset_heat and self._open_s > 1.0
        if ready:
            self.is_open = False
            self.closed_again = True


def typical_points(spec: BreakerSpec) -> list[tuple[float, float]]:
    """Data-sheet points (multiple of rated, seconds from cold) of the typical device: t = tau ln(m2 / (m2 - k2))."""
    points = []
    for multiple in (1.35, 2.0, 3.0, 6.0):
        square, hold = multiple**2, spec.hold_ratio**2
        if multiple > spec.hold_ratio * 1.02 and (spec.instant_ratio is None or multiple < spec.instant_ratio):
            points.append((multiple, spec.tau_s * math.log(square / (square - hold))))
    return points


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
        self._let_through: list[list[float]] = []
        self._noise: dict[int, Floats] = {}
        self._smooth = np.zeros((0, 0))
        self.volts: list[list[float]] = []

    def note_breakers(self, breakers: list[Breaker]) -> None:
        """Which protections are open in the tick that begins, and what share of the volts those let through that are not."""
        self._let_through.append([0.0 if breaker.is_open else breaker.fold for breaker in breakers])

    def note_tick(self, trains: list[Train], lamps: list[Lamp], volts: list[float]) -> None:
        """State at the end of a tick."""
        self._rows.append(_state(trains, lamps))
        self.volts.append(list(volts))

    def freeze(self) -> None:
        """The block is over: lay the state out scan by scan, straight lines between ticks."""
        rows = np.array(self._rows).T
        self._smooth = (rows[:, :-1, None] + np.diff(rows)[:, :, None] * _FRACTION).reshape(len(rows), -1)

    def let_through(self, supply: int, frame: Frame) -> Floats:
        """Share of the volts that the protection lets through: 0 where it is open; shape (scans,)."""
        return np.repeat([tick[supply] for tick in self._let_through], SCANS_PER_TICK)[: frame.scans]

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


TickListener = Callable[[int, list[float]], None]
"""Called when a tick is over, with the scan at which it began and the share of a lap that each train went."""


class SlowBench:
    """Trains, lamps, breakers.

    Attributes:
        trains: As in the spec.
        volts: RMS volts at the loads of each district in the last tick.
        amps: RMS amps of each supply in the last tick.
        volt_amperes: Of each supply in the last tick.
        tripped: Supplies whose protection opened at the end of the last tick.
    """

    def __init__(self, spec: BenchSpec) -> None:
        self._spec = spec
        ac = [supply.current == "ac" for supply in spec.supplies]
        self.trains = [
            Train(train, is_ac=ac[spec.districts[max(train.district, 0)].supply] if spec.districts else True)
            for train in spec.trains
        ]
        self.lamps = [Lamp(district.lamp_amps, 0.06) for district in spec.districts]
        self._ohms = [(district.own_ohms + district.feeder_ohms, district.feeder_growth) for district in spec.districts]
        self._steady = [district.steady_amps / NOMINAL_VOLTS for district in spec.districts]
        self.breakers = [Breaker(supply.breaker) for supply in spec.supplies]
        self._members = [spec.districts_of(supply) for supply in range(len(spec.supplies))]
        self.volts = [spec.supplies[district.supply].volts_open * district.level for district in spec.districts]
        self.amps = [0.0] * len(spec.supplies)
        self.volt_amperes = [0.0] * len(spec.supplies)
        self.tripped: list[int] = []
        self._means: dict[Track, list[list[float]]] = {}
        self._dt_s = SCANS_PER_TICK * spec.converter.scan_interval_s

    def run(self, frame: Frame, levels: Floats, after_tick: TickListener, rng: np.random.Generator) -> SlowRecord:
        """Run through one block; levels are the throttles, shape (districts, scans); after_tick may lay pulses over later ticks."""
        self._means = {track: frame.means(track) for track in TRACKS}
        record = SlowRecord(self._spec, self.trains, self.lamps, frame)
        throttles = levels.reshape(len(levels), frame.ticks, SCANS_PER_TICK).mean(2).tolist()
        normals = rng.standard_normal((frame.ticks, max(len(self.trains), 1))).tolist()
        for tick in range(frame.ticks):
            record.note_breakers(self.breakers)
            steps = self._tick(frame, tick, [row[tick] for row in throttles], normals[tick])
            record.note_tick(self.trains, self.lamps, self.volts)
            after_tick(frame.start_scan + tick * SCANS_PER_TICK, steps)
        record.freeze()
        return record

    def _tick(self, frame: Frame, tick: int, throttles: list[float], normals: list[float]) -> list[float]:
        siemens = self._district_siemens(tick)
        pulls, shrink = self._train_siemens(frame, tick, siemens)
        self._solve(frame, tick, throttles, siemens)
        dt_s = self._dt_s
        for lamp, volts in zip(self.lamps, self.volts, strict=True):
            if lamp.siemens:
                lamp.step(volts, dt_s)
        contact, load, cars = self._means["contact"], self._means["load"], self._means["cars"]
        steps = []
        for n, train in enumerate(self.trains):
            volts = pulls[n] * shrink[n]
            train.waver(normals[n], dt_s)
            steps.append(train.step(volts, contact[n][tick], load[n][tick], dt_s))
            if train.cars.siemens:
                train.cars.step(volts * cars[n][tick], dt_s)
        self.tripped = [s for s, breaker in enumerate(self.breakers) if breaker.step(self.amps[s] / breaker.fold, dt_s)]
        return steps

    def _district_siemens(self, tick: int) -> list[float]:
        short, step = self._means["short"], self._means["step"]
        return [self._steady[n] + lamp.siemens + short[n][tick] + step[n][tick] for n, lamp in enumerate(self.lamps)]

    def _train_siemens(self, frame: Frame, tick: int, siemens: list[float]) -> tuple[list[float], list[float]]:
        """Adds the trains' conductances; returns the volts that each engine is fed from and what a weak joint leaves of them."""
        contact, cars, joint = self._means["contact"], self._means["cars"], self._means["joint"]
        pulls, shrink = [], []
        for n, train in enumerate(self.trains):
            shares = train.tick_shares(frame.start_scan + tick * SCANS_PER_TICK)
            fed, left = 0.0, 1.0
            for district, engine_share, car_share in shares:
                volts = self.volts[district]
                engine = train.motor.equivalent_siemens(volts) * contact[n][tick] * engine_share
                total = engine + train.cars.siemens * cars[n][tick] * car_share
                left = 1 / (1 + joint[n][tick] * total)
                siemens[district] += total * left
                if engine_share >= 0.5:
                    fed = volts
            pulls.append(fed)
            shrink.append(left)
        return pulls, shrink

    def _solve(self, frame: Frame, tick: int, throttles: list[float], siemens: list[float]) -> None:
        mains, feed, drive = self._means["mains"][0][tick], self._means["feed"], self._means["drive"]
        seconds = (frame.start_scan + tick * SCANS_PER_TICK) * self._spec.converter.scan_interval_s
        for supply, members in enumerate(self._members):
            spec = self._spec.supplies[supply]
            if self.breakers[supply].is_open:
                self.amps[supply] = 0.0
                for n in members:
                    self.volts[n] = 0.0
                continue
            slopes, drives = [], []
            push = slope_sum = 0.0
            for n in members:
                ohms, growth = self._ohms[n]
                slope = feed[n][tick] * siemens[n] / (1 + (ohms + growth * seconds) * siemens[n])
                volts = spec.volts_open * self.breakers[supply].fold * mains * throttles[n] * drive[n][tick]
                push += slope * volts
                slope_sum += slope
                slopes.append(slope)
                drives.append(volts)
            total = push / (1 + spec.source_ohms * slope_sum)
            self.amps[supply] = total
            self.volt_amperes[supply] = 0.0
            for n, a, e in zip(members, slopes, drives, strict=True):
                amps = a * (e - spec.source_ohms * total)
                self.volts[n] = amps / siemens[n] if siemens[n] > 1e-9 else feed[n][tick] * e
                self.volt_amperes[supply] += self.volts[n] * amps
