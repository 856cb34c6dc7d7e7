"""Climbs: amps rise while the volts hold. A train that binds, told from grades, arrivals and things switched on."""

from collections.abc import Generator

import numpy as np

from monitor.diagnosis.edges import SHARP_SHARE, is_fine, sharpest_share, steady
from monitor.diagnosis.medians import median
from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.rows import Cut
from monitor.diagnosis.sliding import rows_before, sliding
from monitor.diagnosis.ticks import TICK_S
from monitor.diagnosis.watcher import Bools, Floats, Stream, Watcher, Watching
from monitor.values import Cause

LEAST_RATIO = 1.18  # of the amps just before
ABOVE_HIGH_RATIO = 1.13  # of the highest that grades brought in the laps before
KNOWN_TICKS = 240  # before so much of its way was seen, a train that binds looks like one that climbs a hill
HIGH_QUANTILE = 0.95  # what lasts a shorter share of the time are surges, not grades
LOOK_BACK_TICKS = 600
SAME_VOLTS_SHARE = 0.6  # laps at volts within this tell what hills there are
BEFORE_TICKS = 26
LEAST_AMPS = 0.05
REMEMBERED = 8
STAYS_TICKS = 12
STAYS_SHARE = 0.6
ARRIVAL_RATIO = 3.5  # a running train does not draw so many times its usual without stopping
ARRIVAL_S = 0.16  # from a fifth to four fifths of the climb: an engine rolls over a gap, but inertia keeps a bound one turning
LEFT_SHARE = 0.85  # of the least that a district drew just before: a train left it; a grade's end leaves more
LEFT_TICKS = 120
HOLD_SHARE = 0.9
LAMP_QUIET = 0.35  # amps that waver less than this share of what they do later had no motor among them


class Climbs(Watcher):
    """Watches a track district's amps for a climb that stays."""

    def __init__(self, stream: Stream, district: int) -> None:
        super().__init__(stream, district)
        self._bound: list[tuple[int, int]] = []
        self._same_since = -BEFORE_TICKS  # since this tick no train came

    @staticmethod
    def onsets(stream: Stream, rows: slice) -> Bools:
        """Half a second's median well above the lowest half second of the last two and a half."""
        ticks = stream.ticks
        usual = ticks.usual_amps[rows]
        lowest = sliding(np.minimum, rows_before(ticks.usual_amps, rows, BEFORE_TICKS + 1, 0), BEFORE_TICKS + 1)
        return np.asarray((usual > LEAST_RATIO * lowest) & (usual > lowest + LEAST_AMPS) & (ticks.calm[rows] > 0))

    def watch(self, tick: int) -> Watching:
        """Watch for ever."""
        while True:
            found = yield from self.onset(tick)
            yield found + STAYS_TICKS + 1
            event, floor, level = self._event(found)
            if event is None:
                tick = found + 2
                continue
            self.tell(event, found + STAYS_TICKS)
            tick = yield from self._follow(event, found, floor, level)

    def _event(self, found: int) -> tuple[Occurrence | None, float, float]:
        d, stream = self.district, self.stream
        rows = self.ticks.rows(found - BEFORE_TICKS, found)
        floor = float(np.min(self.ticks.usual_amps[rows, d]))
        level = stream.median("amps", d, found - 2, found + STAYS_TICKS)
        if not floor + LEAST_AMPS < level or not self._stays(found, floor, level):
            return None, floor, level
        volts = stream.median("volts", d, found - BEFORE_TICKS, found - 9)
        during = stream.median("volts", d, found - 2, found + STAYS_TICKS)
        high, known = self._high(found, during)
        if not level > ABOVE_HIGH_RATIO * high or not HOLD_SHARE * volts < during < 1.025 * volts:
            return None, floor, level
        if not level < ARRIVAL_RATIO * floor or self._came_from_elsewhere(found, floor, level):
            # What laps brought before says nothing about one train more.
            if found - BEFORE_TICKS > self._same_since:
                self._same_since = found + STAYS_TICKS // 2
            return None, floor, level
        if not known:
            return None, floor, level
        event = Occurrence(district=d, cause=Cause.BINDING, start_s=self._onset_s(found, floor, level))
        event.evidence = {
            "amps_before": floor,
            "amps_highest_before": high,
            "amps_during": level,
            "amps_ratio": level / max(floor, 1e-9),
            "volts_before": volts,
            "volts_during": during,
        }
        event.confidence = 0.92 if level > 1.25 * high else 0.8
        return event, floor, level

    def _high(self, found: int, volts: float) -> tuple[float, bool]:
        """The highest amps that this train's laps brought at these volts, and whether enough of its way was seen."""
        rows = self.ticks.rows(max(found - LOOK_BACK_TICKS, self._same_since), found - BEFORE_TICKS // 2)
        past = self.ticks.volts[rows, self.district]
        same = (past > SAME_VOLTS_SHARE * volts) & (past * SAME_VOLTS_SHARE < volts)
        for first, last in self._bound:
            bound = self.ticks.rows(first, last)
            same[max(0, bound.start - rows.start) : max(0, bound.stop - rows.start)] = False
        same &= self.ticks.calm[rows, self.district] > 0
        # A hill asks for the same torque at any speed; at more volts it may take as much more amps at the most.
        amps = self.ticks.amps[rows, self.district][same] * np.maximum(1.0, volts / past[same])
        if len(amps) < STAYS_TICKS:
            return 0.0, False
        at = int(HIGH_QUANTILE * (len(amps) - 1))
        return float(np.partition(amps, at)[at]), len(amps) >= KNOWN_TICKS

    def _onset_s(self, found: int, floor: float, level: float) -> float:
        cut = self.stream.cut(self.district, found - BEFORE_TICKS, found)
        under = np.flatnonzero(_smooth(cut.amps) < floor + 0.15 * (level - floor))
        return float(cut.end_s[under[-1]]) if len(under) else (found - BEFORE_TICKS) * TICK_S

    def _stays(self, found: int, floor: float, level: float) -> bool:
        after = self.ticks.amps[self.ticks.rows(found, found + STAYS_TICKS), self.district]
        return bool((after > floor + STAYS_SHARE * (level - floor)).mean() > 0.85)

    def _came_from_elsewhere(self, found: int, floor: float, level: float) -> bool:
        """Switched on, driven in from another district, or started: nothing that was running already."""
        climb = level - floor
        if self._left_another(found, climb):
            return True
        cut = self.stream.cut(self.district, found - BEFORE_TICKS - 8, found + 2)
        if is_fine(cut):
            cut = cut._replace(amps=steady(cut.amps))  # without losses of contact, which end within a cycle
        if sharpest_share(cut.end_s, cut.amps, climb) >= SHARP_SHARE or (is_fine(cut) and _rise_s(cut, floor, level) < ARRIVAL_S):
            return True
        # Only a motor wavers with its load; without one before, something arrived. Coarse readings do not show it.
        return (
            is_fine(cut)
            and self._spread(found - 36, found - 26) / floor < LAMP_QUIET * self._spread(found + 2, found + 12) / level
        )

    def _left_another(self, found: int, climb: float) -> bool:
        """Another track district lost what this one gained, and draws less than it did anywhere just before."""
        lost_by = self.stream.medians("amps", found - 36, found - 24) - self.stream.medians("amps", found + 4, found + 12)
        lost_by[self.district] = 0.0
        for other in np.flatnonzero(self.circuits.is_track & (lost_by > 0.4 * climb)).tolist():
            past = self.ticks.amps[self.ticks.rows(found - 24 - LEFT_TICKS, found - 24), other]
            if self.stream.median("amps", other, found + 4, found + 12) < LEFT_SHARE * float(np.nanquantile(past, 0.1)):
                return True
        return False

    def _spread(self, first: int, last: int) -> float:
        rows = self.ticks.rows(first, last)
        return median(self.ticks.amps_high[rows, self.district] - self.ticks.amps_low[rows, self.district])

    def _follow(self, event: Occurrence, found: int, floor: float, level: float) -> Generator[int, None, int]:
        """Until the amps fall below the middle for half a second, or the volts go."""
        d, middle = self.district, 0.5 * (floor + level)
        at = found + STAYS_TICKS
        while True:
            under = yield from self.find(lambda rows: (self.ticks.amps[rows, d] < middle) | (self.ticks.calm[rows, d] == 0), at)
            at = found if under is None else under
            yield at + 5
            dead = not bool(self.ticks.calm[self.ticks.rows(at, at + 5), d].all())
            amps = self.ticks.amps[self.ticks.rows(at, at + 5), d]
            if dead or bool((amps < middle).mean() > 0.7):
                break
            at += 1
        cut = self.stream.cut(d, at - 8, at + 2)
        over = np.flatnonzero(_smooth(cut.amps) > middle)
        event.end_s = float(cut.end_s[over[-1]]) if len(over) else at * TICK_S
        event.evidence["lasted_s"] = event.end_s - event.start_s
        self.tell(event, at + 4)
        self._bound = [*self._bound, (found - BEFORE_TICKS // 2, at + 5)][-REMEMBERED:]
        return at + 8


def _rise_s(cut: Cut, floor: float, level: float) -> float:
    """From a fifth to four fifths of a climb."""
    over = np.flatnonzero(cut.amps > floor + 0.8 * (level - floor))
    under = np.flatnonzero(cut.amps[: over[0]] < floor + 0.2 * (level - floor)) if len(over) else over
    return float(cut.end_s[over[0]] - cut.end_s[under[-1]]) if len(under) else np.inf


def _smooth(values: Floats) -> Floats:
    return values if len(values) < 3 else np.convolve(np.pad(values, 1, mode="edge"), np.full(3, 1 / 3), mode="valid")
