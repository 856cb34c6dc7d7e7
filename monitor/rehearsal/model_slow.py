"""Slow state of the bench, tick by tick on RMS figures: speed of trains, heat of filaments and of the protection."""

from typing import Protocol

import numpy as np

from monitor.rehearsal.model_breaker import Breaker
from monitor.rehearsal.model_frame import SCANS_PER_TICK, TRACKS, Frame, Track
from monitor.rehearsal.model_lamp import NOMINAL_VOLTS, Lamp
from monitor.rehearsal.model_record import SlowRecord
from monitor.rehearsal.model_specs import BenchSpec
from monitor.rehearsal.model_train import Train
from monitor.values.arrays import Floats

__all__ = ["SlowBench", "SlowRecord"]


class Onlooker(Protocol):
    """Who is told of each tick."""

    def after_tick(self, tick_scan: int, steps: list[float]) -> None:
        """A tick that began at tick_scan is over; steps are the shares of a lap that each train went."""


class SlowBench:
    """Trains, lamps, breakers.

    Attributes:
        trains: As in the spec.
        breakers: One a supply.
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

    def run(self, frame: Frame, levels: Floats, onlooker: Onlooker, rng: np.random.Generator) -> SlowRecord:
        """Run through one block.

        Args:
            frame: Its tracks; the onlooker may lay further pulses over ticks that are still to come.
            levels: Throttle of each district, shape (districts, scans).
            onlooker: Who is told of each tick.
            rng: For the wavering of loads.
        """
        self._means = {track: frame.means(track) for track in TRACKS}
        record = SlowRecord(self._spec, self.trains, self.lamps, frame)
        throttles = levels.reshape(len(levels), frame.ticks, SCANS_PER_TICK).mean(2).tolist()
        normals = rng.standard_normal((frame.ticks, max(len(self.trains), 1))).tolist()
        for tick in range(frame.ticks):
            record.note_open([breaker.is_open for breaker in self.breakers])
            steps = self._tick(frame, tick, [row[tick] for row in throttles], normals[tick])
            record.note_tick(self.trains, self.lamps, self.volts)
            onlooker.after_tick(frame.start_scan + tick * SCANS_PER_TICK, steps)
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
        self.tripped = [s for s, breaker in enumerate(self.breakers) if breaker.step(self.amps[s], dt_s)]
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
                volts = spec.volts_open * mains * throttles[n] * drive[n][tick]
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
