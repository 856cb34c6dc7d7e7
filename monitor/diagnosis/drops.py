"""Drops: amps fall while the volts hold. Contact lost under a wheel, a weak joint, or a train that drove off."""

from collections.abc import Generator

import numpy as np

from monitor.diagnosis.joints import Joints
from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.stands import judge_stand
from monitor.diagnosis.watcher import Bools, Stream, Watcher, Watching
from monitor.facts import dips
from monitor.facts import thresholds as t
from monitor.facts.balance import driven_over, mirrored
from monitor.facts.circuits import Circuits
from monitor.facts.edges import crossing_s, is_fine, sharpest_share, steady
from monitor.facts.medians import median, medians
from monitor.facts.rows import Cut
from monitor.facts.sliding import rows_before
from monitor.facts.ticks import TICK_S
from monitor.values import Cause
from monitor.values.arrays import Floats


class Drops(Watcher):
    """Watches a track district's amps for a drop that the volts do not explain."""

    def __init__(self, stream: Stream, district: int) -> None:
        super().__init__(stream, district)
        self._joints = Joints(self.ticks, district)
        self._last = -t.DROP_SOON_TICKS - 1, 0.0  # when amps came back last, and what they were before
        self._hold_share = float(_hold_share(stream.circuits)[district])

    @staticmethod
    def onsets(stream: Stream, rows: slice) -> Bools:
        """The amps fell by more than they waver, and the volts hold."""
        ticks = stream.ticks
        low, usual = ticks.amps_low[rows], _usual(stream, rows)
        least = np.maximum(t.DROP_LEAST_SHARE * usual, t.DROP_LEAST_AMPS)
        holds = ticks.volts[rows] > _hold_share(stream.circuits) * ticks.usual_volts[rows]
        dropped = (low < usual - least) & holds & ticks.calm[rows]
        at, district = np.nonzero(dropped)
        within = [ticks.before(name, at + rows.start, district, t.DROP_SPREAD_TICKS) for name in ("amps_high", "amps_low")]
        spread = t.DROP_SPREADS * medians(within[0] - within[1], 1)
        dropped[at, district] = low[at, district] < usual[at, district] - np.maximum(least[at, district], spread)
        return dropped

    def watch(self, tick: int) -> Watching:
        """Watch for ever."""
        first = tick - t.STAND_TICKS
        while True:
            found = yield from self.onset(tick)
            yield found + 1
            usual, tick = self._usual(found), found + 1
            if not self._has_dropped(found, usual):
                continue
            first = found if found > first + t.STAND_BOUNCED_TICKS else first
            back = yield from self._recovery(found, usual, found + t.STAND_TICKS)
            tick = found + 2
            if back is None:
                after = yield from self._follow_stand(found, max(usual, self._usual(first)), first)
                back = None if after else (yield from self._recovery(found, usual, self._slowest(found, usual)))
                tick = after or tick
            if back is not None:
                yield from self._came_back(found, back, usual)
                self._last = back, usual
                tick = back + 2

    def _came_back(self, found: int, back: int, usual: float) -> Generator[int, None, None]:
        """A drop that is over: tell what it was, if anything."""
        yield back + 1
        event, depth = self._judge(found, back, usual)
        if event is None:
            return
        # What a whistle took says nothing of what a contact lost.
        if self.stream.signal_changed(self.district, found - 6, (back if event.cause is Cause.WEAK_JOINT else found) + 1):
            return
        if event.cause is Cause.WEAK_JOINT or event.evidence["lasted_s"] > t.DROP_SHORTEST_OVER_S:
            yield back + t.BALANCE_BESIDE_TICKS
            if mirrored(self.stream, self.district, (event.start_s, event.end_s or event.start_s), depth):
                return
        is_joint = event.cause is Cause.WEAK_JOINT
        over = driven_over(self.stream, self.district, (found, back), depth, is_partial=is_joint)
        if (is_joint or event.evidence["lasted_s"] > t.DROP_BRIEF_S) and (over or not self._goes_on(back, usual)):
            return
        self._remember(event)

    def _goes_on(self, back: int, usual: float) -> bool:
        """The train behind a joint is the one before it: much more means that another came, or something came on."""
        first = self.stream.median("amps", self.district, back + 1, back + 3)
        after = self.stream.median("amps", self.district, back + 3, back + t.BALANCE_BESIDE_TICKS)
        return after < max(t.DROP_GOES_ON_RATIO * usual, min(t.DROP_FADES_SHARE * first, t.DROP_STARTING_RATIO * usual))

    def _usual(self, tick: int) -> float:
        """Amps before: those before the last loss where that ended a moment ago, for it must not hide the next."""
        usual = float(self.ticks.usual_amps[self.ticks.rows(tick, tick + 1), self.district][0])
        back, before = self._last
        return max(usual, before) if tick - back <= t.DROP_SOON_TICKS else usual

    def _has_dropped(self, tick: int, usual: float) -> bool:
        low = float(self.ticks.amps_low[self.ticks.rows(tick, tick + 1), self.district][0])
        return low < usual - max(t.DROP_LEAST_SHARE * usual, t.DROP_LEAST_AMPS)

    def _slowest(self, found: int, usual: float) -> int:
        """Until when amps may come back from a joint."""
        first_rows = self.ticks.rows(found, found + t.DROP_STALLED_TICKS)
        deep = float(np.min(self.ticks.amps_low[first_rows, self.district])) < (1 - t.DROP_DEEP_SHARE) * usual
        return found + (t.DROP_SLOWEST_TICKS if deep else t.DROP_STALLED_TICKS)

    def _recovery(self, found: int, usual: float, limit: int) -> Generator[int, None, int | None]:
        """First of two ticks in a row that are back; None where the amps stay away until the limit or the volts go."""
        d = self.district
        while True:
            end = min(self.ticks.end, limit)
            rows = self.ticks.rows(found, end)
            low = self.ticks.amps_low[rows, d]
            back = low >= usual - t.DROP_RECOVERED_SHARE * (usual - np.minimum.accumulate(low))
            both = back[:-1] & back[1:]
            gone = ~self.ticks.calm[rows, d][1:]
            if both.any() or gone.any():
                first = int(np.argmax(both | gone))
                self.look_at(found + first + 1)
                return found + first if both[first] else None
            if end == limit:
                self.look_at(limit - 1)
                return None
            yield end

    def _judge(self, found: int, back: int, usual: float) -> tuple[Occurrence | None, float]:
        """A drop that came back: what was it, and how deep?"""
        cut = self.stream.cut(self.district, min(max(found - 4, self._last[0]), found - 1), back + 2)
        depth = usual - float(np.min(cut.amps, initial=usual))
        event = self._measure(cut, found, usual, depth)
        if event is not None:
            if is_fine(cut):
                self._call_by_edges(event, cut, usual, depth)
                self._check_surge(event, found)
            else:
                self._call_by_length(event, cut, usual, depth)
        return event if event is not None and event.confidence > 0 else None, depth

    def _remember(self, event: Occurrence) -> None:
        """Tell an event, and what it makes surer; a doubtful one waits for another like it."""
        if event.cause is Cause.LOST_CONTACT and self._joints.recurs(event):
            event.cause = Cause.WEAK_JOINT  # it climbed too little to show, as a joint's sag does in some laps
        self.stream.note_sag(event, self._latest)
        for told in self._joints.note(event) if event.cause is Cause.WEAK_JOINT else [event]:
            if told.confidence >= t.LEAST_CONFIDENCE:
                self.tell(told)

    def _measure(self, cut: Cut, found: int, usual: float, depth: float) -> Occurrence | None:
        span = crossing_s(cut, (cut.amps < usual - 0.3 * depth) & (cut.end_s > (found - 0.5) * TICK_S))
        inside = cut.amps < usual - 0.6 * depth
        volts = median(cut.volts[inside]) if inside.any() else 0.0
        usual_volts = float(self.ticks.usual_volts[self.ticks.rows(found, found + 1), self.district][0])
        if span is None or depth <= 0 or volts < self._hold_share * usual_volts:
            return None
        event = Occurrence(district=self.district, cause=Cause.LOST_CONTACT, start_s=span[0], end_s=span[1])
        event.evidence = {
            "amps_before": usual,
            "amps_lowest": usual - depth,
            "volts_before": usual_volts,
            "volts_during": volts,
            "lasted_s": span[1] - span[0],
        }
        return event

    def _call_by_edges(self, event: Occurrence, cut: Cut, usual: float, depth: float) -> None:
        """A lost contact cuts within a cycle; a train rolling over a joint fades in and out, and its motor runs on."""
        share = max(sharpest_share(cut.end_s, cut.amps, -depth), sharpest_share(cut.end_s, cut.amps, depth))
        wavering = dips.wavering_share(cut, usual, depth)
        event.evidence["change_within_one_cycle_share"] = share
        event.evidence["wavering_share"] = wavering
        event.confidence = 0.0
        wavers = wavering > max(t.DROP_WAVERING_SHARE, t.DROP_WAVERING_AMPS / depth)
        long = event.evidence["lasted_s"] > t.DROP_LONGEST_LOST_S and (share < t.DROP_SURE_SHARE or wavers)
        is_partial = t.DROP_PARTIAL_SHARE * usual < usual - depth < (1 - t.DROP_LEAST_JOINT_SHARE) * usual
        if is_partial and share >= t.EDGE_SHARP_SHARE and dips.climbs(cut, usual, depth):
            event.cause, event.confidence = Cause.WEAK_JOINT, t.JOINT_SINGLE
        elif share >= t.EDGE_SHARP_SHARE and not long:
            self._call_lost(event, cut, usual, depth)
        else:
            self._call_joint(event, cut, usual)

    def _call_lost(self, event: Occurrence, cut: Cut, usual: float, depth: float) -> None:
        """Against the level just before and after, for a grade's slope is no loss; a loss shorter than a cycle or so is dirt."""
        level = min(usual, dips.level_beside(cut, usual - 0.5 * depth))
        lowest = usual - depth
        gone = cut.amps < level - 0.25 * (level - lowest)
        lost_s = dips.lost_s(cut, gone, level)
        event.evidence["without_amps_s"] = lost_s
        event.confidence = 0.98 if event.evidence["change_within_one_cycle_share"] > 0.6 and depth > 0.25 * usual else 0.9
        noise = dips.noise(cut.amps[: max(8, int(np.argmax(gone)) - 1)])
        typical = level - median(cut.amps[gone]) if gone.any() else 0.0
        brief = lost_s < t.DROP_LEAST_CYCLES * median(cut.end_s - cut.start_s)
        fell = event.evidence["volts_during"] < t.DROP_FELL_SHARE * event.evidence["volts_before"]
        turned_down = fell and bool(self.circuits.is_ac[self.district])
        short_over = event.evidence["volts_during"] > t.DROP_ROSE_SHARE * event.evidence["volts_before"]
        is_heater = self._is_heater(event, cut, level, lowest)
        shallow = typical < max(t.DROP_NOISES * noise, t.DROP_LEAST_SHARE * level)
        if (
            brief
            or shallow
            or is_heater
            or turned_down
            or short_over
            or self._was_so_before(event.start_s, level - typical, level)
        ):
            event.confidence = 0.0
        elif level - lowest < t.DROP_FLICKER_SHARE * level:
            event.confidence = 0.0
            self.stream.flickers.append((event.start_s, self.district))

    @staticmethod
    def _is_heater(event: Occurrence, cut: Cut, level: float, lowest: float) -> bool:
        """A load beside a train that runs on, off for so long that a motor would have stopped, and back without the surge of one."""
        after = float(np.max(cut.amps[cut.end_s > (event.end_s or 0.0)], initial=0.0))
        long = event.evidence["lasted_s"] > t.DROP_LONGEST_LOST_S
        return long and lowest > t.STAND_STANDBY_SHARE * level and after < t.DROP_RESTART_RATIO * level

    def _was_so_before(self, start_s: float, lowest: float, level: float) -> bool:
        """The pause of a load that a contact switched on a moment ago: back to what was drawn before it."""
        tick = int(start_s / TICK_S)
        rows = self.ticks.rows(tick - t.DROP_PAUSED_TICKS, tick)
        dead = np.flatnonzero(~self.ticks.calm[rows, self.district])
        past = self.ticks.amps[rows, self.district][int(dead[-1]) + 1 if len(dead) else 0 :]
        if len(past) < t.DROP_PAUSED_LEAST_TICKS or lowest < t.DROP_PAUSED_SHARE * median(past):
            return False
        cut = self.stream.cut(self.district, tick - min(len(past), t.DROP_PULSE_TICKS), tick)
        return sharpest_share(cut.end_s, cut.amps, level - lowest) > t.CLIMB_SWITCHED_SHARE

    def _call_joint(self, event: Occurrence, cut: Cut, usual: float) -> None:
        """By what lasts: single losses of contact within a sag, or beside one, do not count."""
        smooth = cut._replace(amps=steady(cut.amps))
        lowest = float(np.min(smooth.amps, initial=usual))
        level = min(usual, dips.highest_beside(smooth, 0.5 * (usual + lowest)))
        depth = level - lowest
        span = crossing_s(smooth, smooth.amps < level - 0.3 * depth)
        if span is None or not t.DROP_LEAST_JOINT_SHARE * level < depth < 0.9 * level:
            return
        tick = int(span[0] / TICK_S)
        wavered = dips.noise(self.ticks.amps[self.ticks.rows(tick - t.DROP_WAVERED_TICKS, tick), self.district])
        if (
            depth < t.DROP_WAVERED * wavered
            or event.evidence["volts_during"] < t.DROP_NOT_FELL_SHARE * event.evidence["volts_before"]
        ):
            return
        edge_s, lasted_s = dips.edge_s(smooth, level, depth), span[1] - span[0]
        edge_out_s = dips.edge_s(dips.reversed_in_time(smooth), level, depth)
        quick_out = edge_out_s <= t.DROP_QUICK_EDGE_S
        quick = max(edge_s, edge_out_s) <= t.DROP_STEEP_EDGE_S and lasted_s > t.DROP_LONGEST_LOST_S
        if depth < t.DROP_DEEP_SHARE * level and not quick and not dips.overshoots(smooth, 0.5 * (level + lowest), depth):
            return
        event.start_s, event.end_s = span
        event.evidence["change_within_one_cycle_share"] = max(
            sharpest_share(smooth.end_s, smooth.amps, -depth), sharpest_share(smooth.end_s, smooth.amps, depth)
        )
        event.evidence.update(edge_s=edge_s, lasted_s=lasted_s, amps_before=level, amps_lowest=lowest)
        longest_s = t.DROP_SLOWEST_EDGE_S if quick_out else t.DROP_LONGEST_EDGE_S
        if depth > t.DROP_DEEP_SHARE * level:
            longest_s = max(longest_s, t.DROP_LONGEST_EDGE_SHARE * lasted_s)
        if lasted_s >= t.DROP_SHORTEST_JOINT_S and edge_s <= longest_s:
            event.cause = Cause.WEAK_JOINT
            event.confidence = t.JOINT_SINGLE

    def _check_surge(self, event: Occurrence, found: int) -> None:
        """A starting train's surge that fades is no sag: what counts is the last seconds' usual."""
        recent = self.stream.median("amps", self.district, found - t.DROP_RECENT_TICKS, found - 1)
        if event.cause is Cause.WEAK_JOINT and not event.evidence["amps_lowest"] < t.DROP_RECENT_SHARE * recent:
            event.confidence = 0.0

    def _call_by_length(self, event: Occurrence, cut: Cut, usual: float, depth: float) -> None:
        """Ten readings a second tell few edges: a contact is lost for tenths of a second, a joint takes as long as the train."""
        lasted_s, edge_s = event.evidence["lasted_s"], dips.edge_s(cut, usual, depth)
        event.evidence["edge_s"] = edge_s
        event.confidence = 0.0
        if 0 < lasted_s < t.DROP_LONGEST_LOST_S and depth > 0.3 * usual and edge_s <= t.DROP_COARSE_EDGE_S:
            # A single low reading may be a loss of a cycle, as every track has.
            event.confidence = 0.75
        elif lasted_s >= t.DROP_LONGEST_LOST_S and 0.22 * usual < depth < 0.8 * usual and edge_s <= t.DROP_COARSE_EDGE_S:
            event.cause, event.confidence = Cause.WEAK_JOINT, t.JOINT_SINGLE

    def _follow_stand(self, found: int, usual: float, first: int) -> Generator[int, None, int | None]:
        """A train that stands without contact, until its amps are back or a hand breaks the volts; None where it is no such thing."""
        d = self.district
        yield found + t.STAND_TICKS
        event, depth = judge_stand(self.stream, self.district, (first, found), usual)
        if event is None:
            return None
        self.stream.note_sag(event, self._latest)
        self.tell(event)
        gone = yield from self.find(
            lambda rows: (self.ticks.amps_low[rows, d] > usual - t.DROP_RECOVERED_SHARE * depth) | ~self.ticks.calm[rows, d],
            found + t.STAND_TICKS,
            found + t.DROP_GIVE_UP_TICKS,
        )
        end = gone or found + t.DROP_GIVE_UP_TICKS
        event.end_s = end * TICK_S
        event.evidence["lasted_s"] = event.end_s - event.start_s
        self.tell(event)
        return end + 2


def _usual(stream: Stream, rows: slice) -> Floats:
    """What was usual just before each tick, or half a second earlier where it was more, that one loss hides no other: shape (n, d)."""
    return np.fmax(stream.ticks.usual_amps[rows], rows_before(stream.ticks.usual_amps, rows, 1, t.DROP_EARLIER_TICKS))


def _hold_share(circuits: Circuits) -> Floats:
    """Of each district, shape (d,)."""
    return np.where(circuits.is_ac, t.DROP_HOLD_SHARE, t.DROP_DC_HOLD_SHARE)
