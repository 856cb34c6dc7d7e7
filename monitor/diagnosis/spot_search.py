"""The search for a spot: do a district's events of one kind come again at one place of the lap, and where is it?"""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from monitor.diagnosis.journey import Journey
from monitor.diagnosis.laps import LAPS_S, SPEED_POWERS
from monitor.diagnosis.spot_filter import Gone, SpotFilter
from monitor.facts.medians import quantiles
from monitor.values.arrays import Floats

LEAST_EVENTS = 4
SIGNIFICANT = 0.02
NO_SIGN = 0.8  # a p-value above this speaks for no spot, whatever was told before
ONE_PASSING_S = 1.5  # events closer together are one passing of one train
LATEST = 30  # events by which a spot is judged now
KEPT = 60
AT_THE_SPOT = 0.1  # of a lap, either way
LEAST_THERE = 0.3  # of the latest events: two trains of different laps share a spot, and one has fewer than half of them there
LOST_THERE = 0.22  # of the latest events: so few of them lie in such an arc by chance
ARC_SHARE = 0.8  # of the events at the spot lie within the arc that is shown
NARROWEST = 0.01  # of a lap: the clock is no better
NEW_LAP = 0.05  # a lap that differs by more is another lap, not a better figure
NEW_LAP_EVIDENCE = 5.0  # natural logarithm: by how much another lap must be likelier than the one told
PART_EVIDENCE = 15.0  # the same for a half or a third of it
LONGER_EVIDENCE = 2.0  # the same by which twice or three times the likeliest lap may be less likely
FARTHEST_LAPS = 3.0  # from the spot's passing to a moment whose place is asked for: the clock drifts
SHOWN_LAP = 3.0  # natural logarithm: by how much the amps must favour a lap over others, to say that it is the lap
STANDS_SHARE = 0.4  # of the laps may be without
_LAPS = np.tile(LAPS_S, len(SPEED_POWERS))
_POWER = np.repeat(np.arange(len(SPEED_POWERS)), len(LAPS_S))


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """How the events lie on the lap.

    Attributes:
        events: How many there were.
        is_fixed: They come again at one place.
        p_value: Chance of so much evidence, at any time, if they came at random.
        lap_s: Lap length, seconds at the usual pace; None where neither events nor amps show one.
        power: Which speed power counted it.
        fraction: Where on the lap the spot is, 0-1 from where the train was when watching began. That zero is counted back from the
            first events, within 0.06 of a lap in the demo; places differ from one another by less.
        spread: Half width of the arc that holds most of the events at the spot, in laps.
        there: How many of the latest events lie at the spot.
        latest: How many these are.
        phases: When each of the latest events was, and where on the lap.
    """

    events: int
    is_fixed: bool
    p_value: float
    lap_s: float | None
    power: int
    fraction: float
    spread: float
    there: int
    latest: int
    phases: tuple[tuple[float, float], ...]


class _Passing(NamedTuple):
    at_s: float
    way_s: Floats
    moved_s: Floats
    stops: int


class SpotSearch:
    """Follows every lap that is possible, and holds on to the one that was told."""

    def __init__(self, journey: Journey, start_s: float) -> None:
        self.events = 0
        self._journey = journey
        self._filter = SpotFilter(_LAPS, _POWER)
        self._reached_s = start_s
        self._stops = 0
        self._passings: list[_Passing] = []
        self._held: int | None = None
        self._let_go = 0
        self._fraction = 0.0
        self._misses: list[tuple[float, float]] = []

    def add(self, at_s: float) -> None:
        """An event began; the journey is known to that moment at least."""
        if self._passings and abs(at_s - self._passings[-1].at_s) < ONE_PASSING_S:
            return
        if at_s > self._reached_s:
            for gone in self._journey.between(self._reached_s, at_s):
                self._filter.advance(gone)
                self._stops += gone.restarts
            self._reached_s = at_s
        way_s = self._journey.at(at_s)
        back_s = self._journey.at(self._reached_s) - way_s
        if self._held is not None:
            clock = self._filter.clock[self._held] - back_s[_POWER[self._held]] / _LAPS[self._held]
            self._misses = [*self._misses, (at_s, _signed(clock - self._filter.place(self._held)))][-KEPT:]
        self._filter.event(back_s)
        self.events += 1
        self._passings = [*self._passings, _Passing(at_s, way_s, self._journey.moved_at(at_s), self._stops)]
        self._passings = sorted(self._passings, key=lambda passing: passing.at_s)[-KEPT:]

    def spot(self, log_prior: Floats) -> Spot | None:
        """How the events lie now; None before the first.

        Args:
            log_prior: Shape (powers * laps,): natural logarithm of each lap's probability before any event.
        """
        if not self.events:
            return None
        joint = self._filter.log_evidence + log_prior
        p_value = min(1.0, math.exp(-min(float(np.logaddexp.reduce(joint)), 700.0)))
        if self.events - self._let_go >= LEAST_EVENTS and (p_value < SIGNIFICANT or self._held is not None):
            self._hold(joint)
        there = [abs(miss) for _, miss in self._misses[-LATEST:] if abs(miss) <= AT_THE_SPOT]
        latest = len(self._misses[-LATEST:])
        if self._held is not None and (len(there) < LOST_THERE * latest or p_value > NO_SIGN):
            self._held, self._misses, self._let_go = None, [], self.events
            self._filter.begin_again()
            return self._nowhere(log_prior, 1.0)
        if self._held is None:
            return self._nowhere(log_prior, p_value)
        return Spot(
            events=self.events,
            is_fixed=len(there) >= LEAST_THERE * latest,
            p_value=p_value,
            lap_s=float(_LAPS[self._held]),
            power=int(_POWER[self._held]),
            fraction=self._fraction,
            spread=max(NARROWEST, float(np.quantile(there, ARC_SHARE))) if there else 0.5,
            there=len(there),
            latest=latest,
            phases=tuple((at_s, (self._fraction + miss) % 1.0) for at_s, miss in self._misses),
        )

    def fraction_at(self, at_s: float) -> float | None:
        """Where on the lap the train was at a moment: between the passings of the spot before and after it.

        None where no spot is told, the journey does not reach so far, or the spot was passed too long before or after.
        """
        if self._held is None or not self._journey.start_s <= at_s <= self._journey.end_s:
            return None
        lap_s, power = float(_LAPS[self._held]), int(_POWER[self._held])
        hits = {moment_s for moment_s, miss in self._misses if abs(miss) <= AT_THE_SPOT}
        ways_s = [float(passing.way_s[power]) for passing in self._passings if passing.at_s in hits]
        way_s = float(self._journey.at(at_s)[power])
        before, after = ([w for w in ways_s if w <= way_s], [w for w in ways_s if w > way_s])
        nearest_s = min([way_s - w for w in before[-1:]] + [w - way_s for w in after[:1]], default=np.inf)
        if nearest_s > FARTHEST_LAPS * lap_s:
            return None
        if before and after:
            span_s = after[0] - before[-1]
            return float((self._fraction + max(1, round(span_s / lap_s)) * (way_s - before[-1]) / span_s) % 1.0)
        return float((self._fraction + (way_s - (before or after)[-1 if before else 0]) / lap_s) % 1.0)

    def stands_s(self) -> float:
        """How long the train stands in most laps, as at a spot that stops it: a lap by the clock takes so much longer."""
        if self._held is None:
            return 0.0
        lap_s, power = float(_LAPS[self._held]), int(_POWER[self._held])
        pairs = [
            (later.at_s - passing.at_s) - float(later.way_s[0] - passing.way_s[0])
            for passing, later in pairwise(self._passings)
            if round(float(later.way_s[power] - passing.way_s[power]) / lap_s) == 1
        ]
        return max(0.0, quantiles(np.array(pairs), (STANDS_SHARE,))[0]) if pairs else 0.0

    def _nowhere(self, log_prior: Floats, p_value: float) -> Spot:
        """All round the lap that the amps show, if they show one."""
        best = int(log_prior.argmax())
        lap_s, power = float(_LAPS[best]), int(_POWER[best])
        shown = log_prior[best] - float(np.median(log_prior)) > SHOWN_LAP
        phases = tuple((passing.at_s, float(passing.way_s[power] / lap_s % 1.0)) for passing in self._passings)
        return Spot(
            events=self.events, is_fixed=False, p_value=p_value, lap_s=lap_s if shown else None, power=power, fraction=0.0, spread=0.5,
            there=0, latest=0, phases=phases if shown else (),
        )  # fmt: skip

    def _hold(self, joint: Floats) -> None:
        """Keep to the lap that was told; a better figure of it moves no place, another lap must be far likelier."""
        best, held = _longest(joint), self._held
        if held is not None:
            near = np.flatnonzero(np.abs(np.log(_LAPS / _LAPS[held])) <= NEW_LAP)
            self._held = held = int(near[joint[near].argmax()])
            # What comes again each lap comes again each part of it as well, so a part of the lap is no better news.
            if best in near or joint[best] - joint[held] < (PART_EVIDENCE if _is_part(best, held) else NEW_LAP_EVIDENCE):
                return
        self._held = best
        fraction, misses = _smoothed(self._passings, float(_LAPS[best]), int(_POWER[best]))
        if held is None or self.events <= KEPT:
            self._fraction, self._misses = fraction, misses


def _longest(joint: Floats) -> int:
    """The likeliest lap, or twice or three times as long a one that is hardly less likely."""
    best = int(joint.argmax())
    for times in (3, 2):
        near = np.flatnonzero(np.abs(np.log(_LAPS / (times * _LAPS[best]))) <= NEW_LAP)
        if len(near) and joint[best] - joint[near].max() < LONGER_EVIDENCE:
            return int(near[joint[near].argmax()])
    return best


def _is_part(lap: int, whole: int) -> bool:
    times = _LAPS[whole] / _LAPS[lap]
    return bool(round(times) >= 2 and abs(times / round(times) - 1) < 2 * NEW_LAP)


def _smoothed(passings: list[_Passing], lap_s: float, power: int) -> tuple[float, list[tuple[float, float]]]:
    """Where the spot was when watching began, and how far from it each event but the last was: from the events after it."""
    behind = SpotFilter(np.array([lap_s]), np.zeros(1, dtype=np.intp))
    misses, later = [], passings[-1]
    behind.event(np.zeros(1))
    for passing in reversed(passings[:-1]):
        way_s, moved_s = later.way_s - passing.way_s, later.moved_s - passing.moved_s
        behind.advance(Gone(way_s[[power]], moved_s[[power]], restarts=later.stops - passing.stops))
        misses.append((passing.at_s, _signed(behind.place() - float(behind.clock[0]))))
        behind.event(np.zeros(1))
        later = passing
    # The filter ran backwards: the spot lies ahead of the first event by as much as that clock is past it.
    ahead = float(behind.clock[0]) - behind.place()
    return float((later.way_s[power] / lap_s + ahead) % 1.0), misses[::-1]


def _signed(laps: float) -> float:
    return float((laps + 0.5) % 1.0 - 0.5)
