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
        volts = stream.median("volts", d, found - 14, found - 9)
        during = stream.median("volts", d, found - 2, found + STAYS_TICKS)
        event = Occurrence(district=d, cause=Cause.BINDING, start_s=self._onset_s(found, floor, level))
        event.evidence = {
            "amps_before": floor,
            "amps_during": level,
            "amps_ratio": level / max(floor, 1e-9),
            "volts_before": volts,
            "volts_during": during,
        }
        usual = float(np.nanmax(self.ticks.usual_amps[self.ticks.rows(found - USUAL_TICKS, found - 6), d], initial=0.0))
        reached = bool(level > LEAST_RATIO * floor) and level - floor > LEAST_AMPS and level > ABOVE_USUAL_RATIO * usual
        stays = self._stays(found, floor, level)
        calm = bool(self.ticks.calm[self.ticks.rows(found - 14, found + STAYS_TICKS), d].all())
        holds = HOLD_SHARE * volts < during < 1.025 * volts
        if not (reached and stays and calm and holds) or self._came_from_elsewhere(event, found, level - floor):
            return None, floor, level
        event.confidence = 0.93 if level > 1.4 * floor else 0.75
        return event, floor, level

    def _onset_s(self, found: int, floor: float, level: float) -> float:
        cut = self.stream.cut(self.district, found - 14, found)
        under = np.flatnonzero(_smooth(cut.amps) < floor + 0.15 * (level - floor))
        return float(cut.end_s[under[-1]]) if len(under) else (found - 6) * TICK_S

    def _stays(self, found: int, floor: float, level: float) -> bool:
        after = self.ticks.amps[self.ticks.rows(found, found + STAYS_TICKS), self.district]
        return bool((after > floor + STAYS_SHARE * (level - floor)).mean() > 0.85)

    def _came_from_elsewhere(self, event: Occurrence, found: int, climb: float) -> bool:
        """Switched on, driven in from another district, or started: nothing that was running already."""
        d = self.district
        cut = self.stream.cut(d, found - 12, found + 2)
        share = sharpest_share(cut.end_s, cut.amps, climb)
        event.evidence["change_within_one_cycle_share"] = share
        before = self.stream.medians("amps", found - 14, found - 9)
        after = self.stream.medians("amps", found, found + 6)
        lost = np.where(self.circuits.is_track, before - after, 0.0)
        lost[d] = 0.0
        quiet = self._spread(found - 16, found - 9)
        lively = self._spread(found + 2, found + STAYS_TICKS)
        return (
            share >= SHARP_SHARE
            or bool(np.nanmax(lost, initial=0.0) > 0.4 * climb)
            or event.evidence["amps_ratio"] > ARRIVAL_RATIO
            or (is_fine(cut) and quiet < LAMP_QUIET * lively * before[d] / after[d])
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
