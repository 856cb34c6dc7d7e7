"""Labels that follow what the model really did: sags judged on its own volts, openings of the protection and the shorts behind them."""

from typing import NamedTuple

from monitor.rehearsal.model_frame import SCANS_PER_TICK, Frame
from monitor.rehearsal.model_slow import SlowBench, SlowRecord
from monitor.rehearsal.model_specs import BenchSpec
from monitor.rehearsal.truth import Label, Trip, Truth
from monitor.values import Cause

CLEAR_SAG = 0.06
"""A fall of volts by this share, made by a load that is meant to, is a sag to be found."""
SLIGHT_SAG = 0.02
"""A fall by this share may be called a sag."""
START_SAG = 0.05
"""A fall by this share when trains start, seen by neighbours, may be called a sag."""
_TAIL_TICKS = 600


class _Probe(NamedTuple):
    district: int
    start_scan: int
    end_scan: int
    look_scan: int
    expected: bool
    neighbours_only: bool


class SagProbes:
    """Looks at volts around steps of load."""

    def __init__(self, spec: BenchSpec, truth: Truth) -> None:
        self._spec = spec
        self._truth = truth
        self._probes: list[_Probe] = []
        self._tail: list[list[float]] = []
        self._tail_scan = 0

    def watch(
        self,
        district: int,
        start_scan: int,
        end_scan: int,
        *,
        expected: bool = False,
        neighbours_only: bool = False,
        after_scans: int = 300,
    ) -> None:
        """A load comes on in a district at start_scan and stays until end_scan; volts are looked at after_scans after its start.

        A clear sag is a fault to be found where it is expected, else a judgement call; neighbours_only leaves the district itself out.
        """
        look = min(start_scan + after_scans, end_scan)
        self._probes.append(_Probe(district, start_scan, end_scan, look, expected, neighbours_only))

    def close_block(self, frame: Frame, record: SlowRecord) -> None:
        """Take the volts of a block and settle what can be settled."""
        self._tail = (self._tail + record.volts)[-_TAIL_TICKS:]
        self._tail_scan = frame.end_scan - len(self._tail) * SCANS_PER_TICK
        due = [probe for probe in self._probes if probe.look_scan < frame.end_scan]
        self._probes = [probe for probe in self._probes if probe.look_scan >= frame.end_scan]
        for probe in due:
            for district in self._spec.districts_of(self._spec.districts[probe.district].supply):
                if not (probe.neighbours_only and district == probe.district):
                    self._settle(probe, district)

    def _settle(self, probe: _Probe, district: int) -> None:
        before = self._mean(district, probe.start_scan - 300, probe.start_scan)
        after = self._mean(district, probe.start_scan + SCANS_PER_TICK, probe.look_scan)
        if before < 1.0 or after < 0.05 * before:
            return
        fall = 1 - after / before
        if fall >= (START_SAG if probe.neighbours_only else SLIGHT_SAG):
            optional = not (probe.expected and fall >= CLEAR_SAG)
            label = self._truth.note(Cause.SUPPLY_SAG, district, probe.start_scan, probe.end_scan, optional=optional)
            label.stays = True

    def _mean(self, district: int, start_scan: int, end_scan: int) -> float:
        low = max((start_scan - self._tail_scan) // SCANS_PER_TICK, 0)
        high = max((end_scan - self._tail_scan) // SCANS_PER_TICK, low + 1)
        rows = self._tail[low:high]
        return sum(row[district] for row in rows) / len(rows) if rows else 0.0


_FOREVER = 1 << 60
_FORGIVEN_S = 8.0


class _ShortUnderWay(NamedTuple):
    district: int
    start_scan: int
    end_scan: int


class TripBook:
    """Follows every supply's protection."""

    def __init__(self, spec: BenchSpec, slow: SlowBench, truth: Truth) -> None:
        self._spec = spec
        self._slow = slow
        self._truth = truth
        count = len(spec.supplies)
        self._shorts: list[_ShortUnderWay] = []
        self._overloads: list[tuple[int, int, int]] = []
        self._open_labels: list[list[Label]] = [[] for _ in range(count)]
        self._closed_since = [0] * count
        self._square = [0.0] * count
        self._over_since: list[int | None] = [None] * count
        self._under_s = [0.0] * count

    def short(self, district: int, start_scan: int, end_scan: int) -> None:
        """A short lies across a district's rails."""
        self._shorts.append(_ShortUnderWay(district, start_scan, end_scan))
        self._label_short(district, start_scan, end_scan)

    def overload(self, supply: int, start_scan: int, end_scan: int) -> None:
        """From start_scan on a supply carries too much."""
        self._overloads.append((supply, start_scan, end_scan))

    def after_tick(self, next_scan: int, dt_s: float) -> None:
        """A tick ended at next_scan."""
        for supply, breaker in enumerate(self._slow.breakers):
            self._follow_current(supply, next_scan, dt_s)
            if supply in self._slow.tripped:
                self._opened(supply, next_scan)
            elif breaker.closed_again:
                self._closed(supply, next_scan)
        self._shorts = [short for short in self._shorts if short.end_scan > next_scan - 2000]
        self._overloads = [over for over in self._overloads if over[2] > next_scan - 2000]

    def _follow_current(self, supply: int, scan: int, dt_s: float) -> None:
        self._square[supply] += (self._slow.amps[supply] ** 2 - self._square[supply]) * min(dt_s / 0.5, 1.0)
        if self._square[supply] > self._slow.breakers[supply].hold_amps ** 2:
            self._under_s[supply] = 0.0
            if self._over_since[supply] is None:
                self._over_since[supply] = scan
        else:
            self._under_s[supply] += dt_s
            if self._under_s[supply] > _FORGIVEN_S:
                self._over_since[supply] = None

    def _opened(self, supply: int, scan: int) -> None:
        districts = self._spec.districts_of(supply)
        onset, hard = self._onset(supply, scan)
        self._truth.cut(districts, scan)
        self._truth.trips.append(Trip(supply=supply, onset_scan=onset, trip_scan=scan, hard=hard))
        self._open_labels[supply] = [self._truth.note(Cause.PROTECTION_OPEN, n, scan, _FOREVER) for n in districts]
        self._over_since[supply] = None

    def _onset(self, supply: int, scan: int) -> tuple[int, bool]:
        since = self._closed_since[supply]
        shorts = [
            short.start_scan
            for short in self._shorts
            if self._spec.districts[short.district].supply == supply and short.start_scan < scan <= short.end_scan + 12
        ]
        if shorts:
            return max(shorts[-1], since), True
        steps = [start for which, start, end in self._overloads if which == supply and start < scan <= end]
        if steps:
            return max(*steps, since), False
        over = self._over_since[supply]
        return max(since, scan if over is None else over), False

    def _closed(self, supply: int, scan: int) -> None:
        self._closed_since[supply] = scan
        for label in self._open_labels[supply]:
            label.end_scan = scan
        for trip in self._truth.trips:
            if trip.supply == supply and trip.reset_scan is None:
                trip.reset_scan = scan
        for short in self._shorts:
            if self._spec.districts[short.district].supply == supply and short.start_scan < scan < short.end_scan:
                self._label_short(short.district, scan, short.end_scan)

    def _label_short(self, district: int, start_scan: int, end_scan: int) -> None:
        for n in self._spec.districts_of(self._spec.districts[district].supply):
            if n == district:
                self._truth.note(Cause.SHORT, n, start_scan, end_scan)
            else:
                self._truth.note(Cause.SUPPLY_SAG, n, start_scan, end_scan, optional=True)
