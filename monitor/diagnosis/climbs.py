"""Climbs: amps rise while the volts hold. A train that binds, told from grades, arrivals and things switched on."""

from collections.abc import Generator

import numpy as np

from monitor.diagnosis.edges import SHARP_SHARE, is_fine, sharpest_share
from monitor.diagnosis.medians import median
from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.ticks import TICK_S
from monitor.diagnosis.watcher import Floats, Watcher, Watching
from monitor.values import Cause

LEAST_RATIO = 1.27  # a grade takes seconds to add so much, a bind tenths of a second
ABOVE_USUAL_RATIO = 1.2  # of the highest half second of the last seconds: coming back from a sag is no climb
USUAL_TICKS = 35
LEAST_AMPS = 0.2
STAYS_TICKS = 12
STAYS_SHARE = 0.6
ARRIVAL_RATIO = 3.5  # a running train does not draw so many times its usual without stopping
HOLD_SHARE = 0.9
LAMP_QUIET = 0.35  # amps that waver less than this share of what they do later had no motor among them


class Climbs(Watcher):
    """Watches a track district's amps for a climb that stays."""

    def watch(self, tick: int) -> Watching:
        """Watch for ever."""
        while True:
            found = yield from self.find(self._climbed, tick)
            if found is None:
                return
            yield found + STAYS_TICKS + 1
            event, floor, level = self._event(found)
            if event is None:
                tick = found + 1
                continue
            self.tell(event, found + STAYS_TICKS)
            tick = yield from self._follow(event, found, floor, level)

    def _climbed(self, rows: slice) -> "np.ndarray[tuple[int], np.dtype[np.bool_]]":
        """Half a second's median against that of the half second which ended half a second earlier."""
        ticks, d = self.ticks, self.district
        start = self.ticks.base + rows.start
        # usual_amps of tick k is the median of k-6..k-2: read twice, seven ticks apart.
        late = ticks.usual_amps[rows, d]
        early_rows = ticks.rows(start - 7, start - 7 + len(late))
        early = np.full(len(late), np.nan)
        early[len(late) - (early_rows.stop - early_rows.start) :] = ticks.usual_amps[early_rows, d]
        least = np.maximum(LEAST_AMPS, ticks.amps_spread[rows, d])
        return np.asarray((late > LEAST_RATIO * early) & (late > early + least) & (ticks.calm[rows, d] > 0))

    def _event(self, found: int) -> tuple[Occurrence | None, float, float]:
        d, stream = self.district, self.stream
        floor = stream.median("amps", d, found - 14, found - 9)
        level = stream.median("amps", d, found - 2, found + STAYS_TICKS)
        if not self._is_above(found, floor, level) or self._came_from_elsewhere(found, floor, level):
            return None, floor, level
        volts = stream.median("volts", d, found - 14, found - 9)
        during = stream.median("volts", d, found - 2, found + STAYS_TICKS)
        if not HOLD_SHARE * volts < during < 1.025 * volts:
            return None, floor, level
        event = Occurrence(district=d, cause=Cause.BINDING, start_s=self._onset_s(found, floor, level))
        event.evidence = {
            "amps_before": floor,
            "amps_during": level,
            "amps_ratio": level / max(floor, 1e-9),
            "volts_before": volts,
            "volts_during": during,
        }
        event.confidence = 0.93 if level > 1.4 * floor else 0.75
        return event, floor, level

    def _is_above(self, found: int, floor: float, level: float) -> bool:
        """Well above what was usual, and it stays."""
        d = self.district
        usual = float(np.max(self.ticks.usual_amps[self.ticks.rows(found - USUAL_TICKS, found - 6), d], initial=0.0))
        least = max(LEAST_RATIO * floor, floor + LEAST_AMPS, ABOVE_USUAL_RATIO * usual)
        if not least < level < ARRIVAL_RATIO * floor or not self._stays(found, floor, level):
            return False
        return bool(self.ticks.calm[self.ticks.rows(found - 14, found + STAYS_TICKS), d].all())

    def _onset_s(self, found: int, floor: float, level: float) -> float:
        cut = self.stream.cut(self.district, found - 14, found)
        under = np.flatnonzero(_smooth(cut.amps) < floor + 0.15 * (level - floor))
        return float(cut.end_s[under[-1]]) if len(under) else (found - 6) * TICK_S

    def _stays(self, found: int, floor: float, level: float) -> bool:
        after = self.ticks.amps[self.ticks.rows(found, found + STAYS_TICKS), self.district]
        return bool((after > floor + STAYS_SHARE * (level - floor)).mean() > 0.85)

    def _came_from_elsewhere(self, found: int, floor: float, level: float) -> bool:
        """Switched on, driven in from another district, or started: nothing that was running already."""
        climb = level - floor
        lost = self.stream.medians("amps", found - 14, found - 9) - self.stream.medians("amps", found, found + 6)
        lost[~self.circuits.is_track] = 0.0
        lost[self.district] = 0.0
        if bool((lost > 0.4 * climb).any()):
            return True
        cut = self.stream.cut(self.district, found - 12, found + 2)
        if sharpest_share(cut.end_s, cut.amps, climb) >= SHARP_SHARE:
            return True
        # Only a motor wavers with its load; without one before, something arrived. Coarse readings do not show it.
        return (
            is_fine(cut)
            and self._spread(found - 16, found - 9) / floor < LAMP_QUIET * self._spread(found + 2, found + 12) / level
        )

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
        return at + 8


def _smooth(values: Floats) -> Floats:
    return values if len(values) < 3 else np.convolve(np.pad(values, 1, mode="edge"), np.full(3, 1 / 3), mode="valid")
