"""Makes acts happen on the bench and writes down what they were: pulses for the model, labels for the truth."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from monitor.rehearsal import model_frame as shapes
from monitor.rehearsal.model_acts import (
    Act,
    Binding,
    ContactLoss,
    DcSignal,
    DirectionBreak,
    DropOut,
    FeedLost,
    Flicker,
    MainsDip,
    MainsWander,
    Short,
    StepLoad,
    Throttle,
    Transfer,
)
from monitor.rehearsal.model_frame import SCANS_PER_TICK, Frame, Pulse, Track
from monitor.rehearsal.model_labels import SagProbes, TripBook
from monitor.rehearsal.model_places import Places
from monitor.rehearsal.model_slow import SlowBench, SlowRecord
from monitor.rehearsal.model_specs import BenchSpec
from monitor.rehearsal.model_train import NOMINAL_VOLTS
from monitor.rehearsal.truth import Truth
from monitor.values import Cause
from monitor.values.arrays import Floats

_FOR_GOOD = 1 << 60
_NEXT_BREAK_S = 0.15
_POWER_GONE = (DirectionBreak, FeedLost, MainsDip, Short)


class Director:
    """Queue of acts, pulses under way."""

    def __init__(self, spec: BenchSpec, acts: Iterable[Act], slow: SlowBench, truth: Truth, rng: np.random.Generator) -> None:
        self._spec = spec
        self._slow = slow
        self._truth = truth
        self._rng = rng
        self._interval_s = spec.converter.scan_interval_s
        self._queue: list[Act] = []
        self._pulses: list[Pulse] = []
        self._levels: list[list[tuple[int, float]]] = [[(0, district.level)] for district in spec.districts]
        self._frame: Frame | None = None
        self._places = Places(spec, slow, self, rng)
        self._sags = SagProbes(spec, truth)
        self._trips = TripBook(spec, slow, truth)
        self.schedule(acts)

    def schedule(self, acts: Iterable[Act]) -> None:
        """Add acts."""
        self._queue = sorted([*self._queue, *acts], key=lambda act: act.at_s)
        for act in self._queue:
            if isinstance(act, _POWER_GONE):
                self._places.keep_clear(act, self.scan_of(act.at_s), self.scan_of(act.at_s + act.seconds))

    def scan_of(self, seconds: float) -> int:
        """The scan at a time."""
        return round(seconds / self._interval_s)

    def open_block(self, frame: Frame) -> Floats:
        """Begin a block: realise the acts that start in it, lay pulses.

        Returns:
            Throttle of each district, shape (districts, scans).
        """
        self._frame = frame
        self._pulses = [pulse for pulse in self._pulses if pulse.end_scan > frame.start_scan]
        for pulse in self._pulses:
            frame.lay(pulse)
        while self._queue and self.scan_of(self._queue[0].at_s) < frame.end_scan:
            self._begin(self._queue.pop(0))
        self._places.dirt(frame)
        scans = np.arange(frame.start_scan, frame.end_scan)
        for points in self._levels:
            while len(points) > 2 and points[1][0] < frame.start_scan:
                points.pop(0)
        return np.array([np.interp(scans, [p[0] for p in points], [p[1] for p in points]) for points in self._levels])

    def after_tick(self, tick_scan: int, steps: list[float]) -> None:
        """See `monitor.rehearsal.model_slow.TickListener`."""
        next_scan = tick_scan + SCANS_PER_TICK
        self._trips.after_tick(next_scan, SCANS_PER_TICK * self._interval_s)
        self._places.after_tick(next_scan, steps)
        for n, train in enumerate(self._slow.trains):
            if int(train.travelled) != int(train.travelled - steps[n]):
                self._truth.laps.setdefault(n, []).append(next_scan)

    def close_block(self, frame: Frame, record: SlowRecord) -> None:
        """End a block."""
        self._sags.close_block(frame, record)

    def settle_trains(self, frame: Frame) -> None:
        """Trains whose crossing ended in this block have arrived."""
        for train in self._slow.trains:
            if train.crossed(frame.end_scan) == (1.0, 1.0):
                train.arrive()

    def lay(self, track: Track, row: int, start_scan: int, values: Floats) -> Pulse:
        """Put a pulse on the bench, from any scan that is still to come."""
        pulse = Pulse(track=track, row=row, start_scan=start_scan, values=values)
        self._pulses.append(pulse)
        if self._frame is not None:
            self._frame.lay(pulse)
        return pulse

    def note(self, cause: Cause, district: int, start_scan: int, scans: int) -> None:
        """Label an event."""
        self._truth.note(cause, district, start_scan, start_scan + scans)

    def is_powered(self, district: int) -> bool:
        """Whether the district's protection is closed and its volts are up."""
        return self._is_closed(district) and self._slow.volts[district] > 0.08 * self._spec.supply_of(district).volts_open

    def _is_closed(self, district: int) -> bool:
        return not self._slow.breakers[self._spec.districts[district].supply].is_open

    def _begin(self, act: Act) -> None:
        start, scans = self.scan_of(act.at_s), max(self.scan_of(act.seconds), 1)
        match act:
            case Throttle():
                self._throttle(act, start, scans)
            case MainsDip() | MainsWander():
                self._dip(act, start, scans)
            case Binding() | ContactLoss() | Transfer():
                self._train_act(act, start, scans)
            case DropOut() | Flicker():
                self._lose_pickup(act, start, scans)
            case StepLoad():
                self._step_load(act, start, scans)
            case DirectionBreak() | DcSignal() | FeedLost() | Short():
                if self.is_powered(act.district):
                    self._district_act(act, start, scans)

    def _throttle(self, act: Throttle, start: int, scans: int) -> None:
        now = self._levels[act.district][-1][1]
        self._levels[act.district] += [(start, now), (start + scans, act.level)]
        if act.labelled and self._is_closed(act.district):
            self.note(Cause.THROTTLE, act.district, start, scans)
        if act.level > now:
            self._sags.watch(act.district, start, start + scans + self.scan_of(2.0), neighbours_only=True)

    def _dip(self, act: MainsDip | MainsWander, start: int, scans: int) -> None:
        if isinstance(act, MainsWander):
            steps_a_scan = act.steps_a_minute / 60 * self._interval_s
            self.lay("mains", 0, start, shapes.wander(self._rng, scans, act.share, steps_a_scan))
            return
        self.lay("mains", 0, start, shapes.dip(scans, act.level, self.scan_of(act.recover_s)))
        if act.jump_rad:
            self.lay("angle", 0, start, np.full(scans, act.jump_rad))
        for district in range(len(self._spec.districts)):
            if self.is_powered(district):
                # With one supply nothing tells the mains from it.
                self._truth.note(Cause.MAINS_DIP, district, start, start + scans, optional=len(self._spec.supplies) == 1)

    def _train_act(self, act: Binding | ContactLoss | Transfer, start: int, scans: int) -> None:
        train = self._slow.trains[act.train]
        if isinstance(act, Transfer):
            train.drive_to(act.district, start, max(scans // 8, 2), scans)
            self._truth.moves.append((start, act.train, act.district))
            if act.district >= 0:
                self._sags.watch(act.district, start, start + scans + self.scan_of(2.0), after_scans=scans + self.scan_of(0.1))
            if act.overload:
                self._trips.overload(self._spec.districts[act.district].supply, start, _FOR_GOOD)
        elif train.engine_district(start) >= 0 and self.is_powered(train.engine_district(start)):
            if isinstance(act, ContactLoss):
                self._places.lose_contact(act.train, start, scans, cars_too=act.cars_too)
                return
            self.lay("load", act.train, start, shapes.box(scans, act.factor, self.scan_of(act.rise_s)))
            self.note(Cause.BINDING, train.district, start, scans)
            self._sags.watch(train.district, start, start + scans, after_scans=self.scan_of(act.rise_s + 0.4))

    def _lose_pickup(self, act: DropOut | Flicker, start: int, scans: int) -> None:
        district = self._slow.trains[act.train].engine_district(start)
        if district < 0 or not self.is_powered(district):
            return
        drops = isinstance(act, DropOut)
        self.lay("contact" if drops else "cars", act.train, start, shapes.lost_contact(self._rng, scans))
        self._truth.note(Cause.LOST_CONTACT, district, start, start + scans, optional=not drops)

    def _step_load(self, act: StepLoad, start: int, scans: int) -> None:
        siemens = act.amps / NOMINAL_VOLTS
        self.lay("step", act.district, start, shapes.step_siemens(siemens, act.surge, self.scan_of(act.surge_s), scans))
        self._sags.watch(act.district, start, start + scans, expected=act.sag == "expected")
        if act.overload:
            self._trips.overload(self._spec.districts[act.district].supply, start, start + scans)

    def _district_act(self, act: DirectionBreak | DcSignal | FeedLost | Short, start: int, scans: int) -> None:
        district = act.district
        match act:
            case DirectionBreak(edge_s=edge_s):
                self.lay("feed" if edge_s == 0 else "drive", district, start, shapes.box(scans, 0.0, self.scan_of(edge_s)))
                self.note(Cause.DIRECTION_BREAK, district, start, scans)
                # The sequence steps when the volts come back, not when the next break begins.
                until_next = self.scan_of(act.neutral_s + _NEXT_BREAK_S) if act.neutral_s else 0
                self._stand_in_neutral(district, start + scans, until_next)
                self._sags.watch(district, start + scans, start + scans + self.scan_of(2.0), neighbours_only=True)
            case FeedLost(ragged_s=ragged_s):
                self.lay("feed", district, start, shapes.lost_feed(self._rng, scans, self.scan_of(ragged_s)))
                self.note(Cause.FEED_LOST, district, start, scans)
                self._sags.watch(district, start + scans, start + scans + self.scan_of(2.0), neighbours_only=True)
            case DcSignal():
                edge = self.scan_of(act.edge_s)
                self.lay("dc", district, start, shapes.box(scans, act.volts, edge, rest=0.0))
                if act.boost:
                    self.lay("drive", district, start, shapes.box(scans, 1 + act.boost, edge))
                self.note(Cause.DC_SIGNAL, district, start, scans)
            case Short():
                self.lay("short", district, start, shapes.short_siemens(self._rng, scans, act.ohms, act.chatter))
                self._trips.short(district, start, start + scans)

    def _stand_in_neutral(self, district: int, start: int, scans: int) -> None:
        for n, train in enumerate(self._slow.trains):
            if scans and train.district == district:
                self.lay("contact", n, start, np.zeros(scans))


def shifted(acts: Iterable[Act], by_s: float) -> list[Act]:
    """The same acts at a later time."""
    return [replace(act, at_s=act.at_s + by_s) for act in acts]
