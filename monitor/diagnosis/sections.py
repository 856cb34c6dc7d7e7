"""Sections: a stretch of track fed through a bad joint. Amps sag while a train is on it, and surge where it ends."""

import numpy as np

from monitor.diagnosis.drops import Drops
from monitor.diagnosis.joints import Joints
from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.watcher import Bools, Stream, Watcher, Watching
from monitor.facts import thresholds as t
from monitor.facts.balance import driven_over
from monitor.facts.dips import noise
from monitor.facts.edges import crossing_s, steady
from monitor.facts.medians import median
from monitor.facts.rows import Cut
from monitor.facts.ticks import TICK_S
from monitor.values import Cause


class Sections(Watcher):
    """Watches a track district for a sag of the amps with a surge at its end."""

    def __init__(self, stream: Stream, district: int) -> None:
        super().__init__(stream, district)
        self._joints = Joints(self.ticks, district)

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
            yield found + t.SECTION_SETTLED_TICKS
            before, inside = self.stream.median("amps", d, found - 7, found - 1), self._settled(found)
            depth = before - inside
            if not (t.SECTION_LEAST_SHARE * before < depth < t.SECTION_MOST_SHARE * before) or not self._holds(found):
                continue
            end = yield from self.find(
                lambda rows: self._steps_up(rows, before, depth) | ~self.ticks.calm[rows, d],  # noqa: B023 - used at once
                found + t.SECTION_SETTLED_TICKS,
                found + t.SECTION_LONGEST_TICKS,
            )
            if end is None or end < found + t.SECTION_SHORTEST_TICKS:
                continue
            yield end + t.SECTION_BEHIND_TICKS
            event = self._event(found, end, before, depth)
            if event is not None:
                sags = self.stream.whole_sags(d, end + t.SECTION_BEHIND_TICKS)
                for told in self._joints.note(event, [sag for sag in sags if sag.cause is Cause.WEAK_JOINT]):
                    if told.confidence >= t.LEAST_CONFIDENCE:
                        self.tell(told)
                tick = end + 2

    def _settled(self, found: int) -> float:
        return self.stream.median("amps", self.district, found + 2, found + t.SECTION_SETTLED_TICKS)

    def _holds(self, found: int) -> bool:
        """Less current raises the volts; where both fall, something else moves them."""
        before = self.stream.median("volts", self.district, found - 7, found - 1)
        return (
            self.stream.median("volts", self.district, found + 2, found + t.SECTION_SETTLED_TICKS)
            > t.SECTION_VOLTS_HELD_SHARE * before
        )

    def _steps_up(self, rows: slice, before: float, depth: float) -> Bools:
        """Above what was before, from well below it some tenths of a second ago."""
        amps = self.ticks.amps[:, self.district]
        ago = amps[max(rows.start - 4, 0) : rows.stop - 4]
        ago = np.concatenate([np.full(rows.stop - rows.start - len(ago), np.inf), ago])
        return np.asarray((amps[rows] > t.SECTION_SURGE_SHARE * before) & (amps[rows] - ago > t.SECTION_STEP_SHARE * depth))

    def _event(self, found: int, end: int, before: float, depth: float) -> Occurrence | None:
        stream, d = self.stream, self.district
        lowest = before - depth
        rows = self.ticks.rows(found + 3, max(end - 4, found + 4))
        stays = bool((self.ticks.amps[rows, d] < before - t.SECTION_STAYS_SHARE * depth).mean() > t.SECTION_MOSTLY_SHARE)
        behind = stream.median("amps", d, end + t.SECTION_SURGE_TICKS, end + t.SECTION_BEHIND_TICKS)
        alike = abs(behind / before - 1) < t.SECTION_BEHIND_SHARE and bool(
            self.ticks.calm[self.ticks.rows(found, end + t.SECTION_BEHIND_TICKS), d].all()
        )
        moved = driven_over(stream, d, (found, end - 2), depth, is_partial=True)
        signal = stream.signal_changed(d, found - 4, found + 4) or stream.signal_changed(d, end - 6, end + 3)
        sags = stream.whole_sags(d, end + t.SECTION_BEHIND_TICKS)
        known = any(sag.start_s < end * TICK_S and found * TICK_S < (sag.end_s or sag.start_s) for sag in sags)
        if known or not stays or not alike or moved or signal:
            return None
        if not self._is_sharp(found, end, before, depth):
            return None
        cut = stream.cut(d, found - 3, found + 4)
        first = crossing_s(cut, cut.amps < before - 0.5 * depth)
        event = Occurrence(district=d, cause=Cause.WEAK_JOINT, start_s=first[0] if first else found * TICK_S, end_s=end * TICK_S)
        event.confidence = t.JOINT_SINGLE
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
        if depth < t.SECTION_NOISES * noise(fall.amps[fall.end_s < found * TICK_S]):
            return False
        rise = _cut(self.stream, self.district, end - 8, end + t.SECTION_BEHIND_TICKS)
        fell, rose = -_steepest(fall, -1) / depth, _steepest(rise, 1) / depth
        surge = float(np.max(rise.amps, initial=0.0))
        decay = surge - self.stream.median("amps", self.district, end + 6, end + t.SECTION_BEHIND_TICKS)
        # The surge is the motor's, whatever the joint took: in a deep sag it is the smaller part.
        wanted = t.SECTION_DEEP_WANTED if depth > t.SECTION_DEEP_SHARE * before else 1.0
        surges = surge > before + wanted * t.SECTION_OVER_SHARE * depth and decay > wanted * t.SECTION_DECAY_SHARE * depth
        return fell > t.SECTION_FALL_SHARE and t.SECTION_RISE_SHARE < rose < t.SECTION_START_SHARE and surges


def _cut(stream: Stream, district: int, first: int, last: int) -> Cut:
    cut = stream.cut(district, first, last)
    return cut._replace(amps=steady(cut.amps))


def _steepest(cut: Cut, sign: int) -> float:
    """The largest change of the amps in one direction within t.SECTION_EDGE_S."""
    lag = max(2, round(t.SECTION_EDGE_S / max(median(np.diff(cut.end_s)), 1e-3))) if len(cut.amps) > 2 else 2
    steps = cut.amps[lag:] - cut.amps[:-lag]
    return sign * float(np.max(sign * steps, initial=0.0))
