"""Sections: a stretch of track fed through a bad joint. Amps sag while a train is on it, and surge where it ends."""

import numpy as np

from monitor.diagnosis.balance import PARTLY, WHOLLY, handed_over
from monitor.diagnosis.drops import Drops
from monitor.diagnosis.edges import crossing_s, steady
from monitor.diagnosis.joints import LEAST_CONFIDENCE, SINGLE, Joints
from monitor.diagnosis.medians import median
from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.rows import Cut
from monitor.diagnosis.ticks import TICK_S
from monitor.diagnosis.watcher import Bools, Stream, Watcher, Watching
from monitor.values import Cause

SETTLED_TICKS = 6
SHORTEST_TICKS = 8
LONGEST_TICKS = 120
LEAST_SHARE, MOST_SHARE = 0.15, 0.85  # of the amps before: less is a hill's end, more is no contact
VOLTS_HELD_SHARE = 0.99
STAYS_SHARE = 0.1  # of the depth: a motor that slows takes more again
MOSTLY_SHARE = 0.85
STEP_SHARE = 0.5  # of the depth, within some tenths of a second
SURGE_SHARE = 1.04  # of the amps before: a motor that slowed takes more when it is fed in full again
EDGE_S = 0.3
FALL_SHARE = 0.9  # of the depth within that time
RISE_SHARE = 1.05  # of the depth within that time: the surge rises beyond what was before
START_SHARE = 3.2  # of the depth: more is a train that starts, or something switched on
OVER_SHARE = 0.6  # of the depth: by which the surge is above what was before
DECAY_SHARE = 0.4  # of the depth: by which it is less within a second
DEEP_SHARE = 0.3  # of the amps before: no hill's end takes so much
DEEP_WANTED = 0.4  # of the surge that is wanted elsewhere
BEHIND_TICKS = 10
BEHIND_SHARE = 0.25  # by which the amps behind may differ from those before


class Sections(Watcher):
    """Watches a track district for a sag of the amps with a surge at its end."""

    def __init__(self, stream: Stream, district: int) -> None:
        super().__init__(stream, district)
        self._joints = Joints()

    @staticmethod
    def onsets(stream: Stream, rows: slice) -> Bools:
        """The amps fell while the volts held."""
        return Drops.onsets(stream, rows)

    def watch(self, tick: int) -> Watching:
        """Watch for ever."""
        d = self.district
        while True:
            found = yield from self.onset(tick)
            tick = found + 2
            yield found + SETTLED_TICKS
            before, inside = self.stream.median("amps", d, found - 7, found - 1), self._settled(found)
            depth = before - inside
            if not (LEAST_SHARE * before < depth < MOST_SHARE * before) or not self._holds(found):
                continue
            end = yield from self.find(
                lambda rows: self._steps_up(rows, before, depth) | ~self.ticks.calm[rows, d],  # noqa: B023 - used at once
                found + SETTLED_TICKS,
                found + LONGEST_TICKS,
            )
            if end is None or end < found + SHORTEST_TICKS:
                continue
            yield end + BEHIND_TICKS
            event = self._event(found, end, before, depth)
            if event is not None:
                for told in self._joints.note(event):
                    if told.confidence >= LEAST_CONFIDENCE:
                        self.tell(told)
                tick = end + 2

    def _settled(self, found: int) -> float:
        return self.stream.median("amps", self.district, found + 2, found + SETTLED_TICKS)

    def _holds(self, found: int) -> bool:
        """Less current raises the volts; where both fall, something else moves them."""
        before = self.stream.median("volts", self.district, found - 7, found - 1)
        return self.stream.median("volts", self.district, found + 2, found + SETTLED_TICKS) > VOLTS_HELD_SHARE * before

    def _steps_up(self, rows: slice, before: float, depth: float) -> Bools:
        """Above what was before, from well below it some tenths of a second ago."""
        amps = self.ticks.amps[:, self.district]
        ago = amps[max(rows.start - 4, 0) : rows.stop - 4]
        ago = np.concatenate([np.full(rows.stop - rows.start - len(ago), np.inf), ago])
        return np.asarray((amps[rows] > SURGE_SHARE * before) & (amps[rows] - ago > STEP_SHARE * depth))

    def _event(self, found: int, end: int, before: float, depth: float) -> Occurrence | None:
        stream, d = self.stream, self.district
        lowest = before - depth
        rows = self.ticks.rows(found + 3, max(end - 4, found + 4))
        stays = bool((self.ticks.amps[rows, d] < before - STAYS_SHARE * depth).mean() > MOSTLY_SHARE)
        behind = stream.median("amps", d, end + 4, end + BEHIND_TICKS)
        alike = abs(behind / before - 1) < BEHIND_SHARE and bool(
            self.ticks.calm[self.ticks.rows(found, end + BEHIND_TICKS), d].all()
        )
        both = handed_over(stream, d, found, depth, PARTLY) and handed_over(stream, d, end - 2, -depth, PARTLY)
        moved = both or handed_over(stream, d, found, depth, WHOLLY) or handed_over(stream, d, end - 2, -depth, WHOLLY)
        signal = stream.signal_changed(d, found - 4, found + 4) or stream.signal_changed(d, end - 6, end + 3)
        known = stream.is_joint(d, found * TICK_S, end * TICK_S)
        if known or not stays or not alike or moved or signal:
            return None
        if not self._is_sharp(found, end, before, depth):
            return None
        cut = stream.cut(d, found - 3, found + 4)
        first = crossing_s(cut, cut.amps < before - 0.5 * depth)
        event = Occurrence(district=d, cause=Cause.WEAK_JOINT, start_s=first[0] if first else found * TICK_S, end_s=end * TICK_S)
        event.confidence = SINGLE
        event.evidence = {
            "amps_before": before,
            "amps_lowest": lowest,
            "amps_highest": float(np.max(self.ticks.amps_high[self.ticks.rows(end - 1, end + 3), d])),
            "volts_before": stream.median("volts", d, found - 7, found - 1),
            "volts_during": stream.median("volts", d, found + 2, end - 2),
            "lasted_s": end * TICK_S - event.start_s,
        }
        return event

    def _is_sharp(self, found: int, end: int, before: float, depth: float) -> bool:
        """In with the engine's length, out with it, and the surge of a motor that gathers way: a hill has none of it."""
        fall = _cut(self.stream, self.district, found - 6, found + 8)
        rise = _cut(self.stream, self.district, end - 8, end + BEHIND_TICKS)
        fell, rose = -_steepest(fall, -1) / depth, _steepest(rise, 1) / depth
        surge = float(np.max(rise.amps, initial=0.0))
        decay = surge - self.stream.median("amps", self.district, end + 6, end + BEHIND_TICKS)
        # The surge is the motor's, whatever the joint took: in a deep sag it is the smaller part.
        wanted = DEEP_WANTED if depth > DEEP_SHARE * before else 1.0
        surges = surge > before + wanted * OVER_SHARE * depth and decay > wanted * DECAY_SHARE * depth
        return fell > FALL_SHARE and RISE_SHARE < rose < START_SHARE and surges


def _cut(stream: Stream, district: int, first: int, last: int) -> Cut:
    cut = stream.cut(district, first, last)
    return cut._replace(amps=steady(cut.amps))


def _steepest(cut: Cut, sign: int) -> float:
    """The largest change of the amps in one direction within EDGE_S."""
    lag = max(2, round(EDGE_S / max(median(np.diff(cut.end_s)), 1e-3))) if len(cut.amps) > 2 else 2
    steps = cut.amps[lag:] - cut.amps[:-lag]
    return sign * float(np.max(sign * steps, initial=0.0))
