"""Breaks: volts and amps gone. By hand, by the protection, with the mains, or a feed that came loose."""

from collections.abc import Generator

import numpy as np

from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.watcher import Bools, Stream, Watcher, Watching
from monitor.facts import thresholds as t
from monitor.facts.edges import is_fine, sharpest_share
from monitor.facts.mains import fell_everywhere, rose_together
from monitor.facts.medians import median
from monitor.facts.openings import zero_amps
from monitor.facts.overloads import highest_mean, opening_evidence, overload_before, short_before
from monitor.facts.rows import Cut
from monitor.facts.sliding import rows_before, sliding
from monitor.facts.ticks import TICK_S
from monitor.values import Cause
from monitor.values.arrays import Floats


class Breaks(Watcher):
    """Watches for a live district that goes dead."""

    def __init__(self, stream: Stream, district: int) -> None:
        super().__init__(stream, district)
        self._zero_amps = float(zero_amps(self.circuits)[district])
        self._least_fed = t.BREAK_SHORT_FED_SHARE * float(self.circuits.rated_amps[self.circuits.supply_of[district]])

    @staticmethod
    def onsets(stream: Stream, rows: slice) -> Bools:
        """The volts are gone, and were there in every tick of the half second before."""
        low, off = stream.ticks.volts_low, stream.circuits.off_volts
        live = rows_before(low, rows, t.BREAK_LIVE_TICKS, 1) > off
        return np.asarray((low[rows] < off) & sliding(np.logical_and, live, t.BREAK_LIVE_TICKS))

    def watch(self, tick: int) -> Watching:
        """Watch for ever."""
        while True:
            found = yield from self.onset(tick)
            yield found + 3
            if self._feeds_a_short(found):
                tick = yield from self._wait_for_opening(found)
                continue
            event = self._event(found)
            if event.cause not in (Cause.DIRECTION_BREAK, Cause.MAINS_DIP):
                self.tell(event)
            tick = yield from self._follow(event, found)

    def _feeds_a_short(self, found: int) -> bool:
        """Amps flow where the volts are gone: a limiter that folds back into a short opens nothing."""
        rows = self.ticks.rows(found + 1, found + 3)
        return bool((self._fed(rows, found) > self._least_fed).all())

    def _fed(self, rows: slice, found: int) -> Floats:
        """Amps of this supply's districts that have lost their volts since a tick, shape (n,)."""
        near = self.circuits.neighbours(self.district)
        # A neighbour's short may have taken most of them seconds ago.
        usual = np.fmax.reduce(self.ticks.usual_volts[self.ticks.rows(found - t.SHORT_RECENT_TICKS, found + 1)][:, near], axis=0)
        lost = self.ticks.volts_high[rows][:, near] < t.FEED_BACK_SHARE * usual
        return np.asarray(np.where(lost, self.ticks.amps_low[rows][:, near], 0.0).sum(axis=1))

    def _wait_for_opening(self, found: int) -> Generator[int, None, int]:
        """Until the volts are back, or the amps go as well: then the protection has opened."""
        d = self.district
        back_volts = t.FEED_BACK_SHARE * float(self.ticks.usual_volts[self.ticks.rows(found, found + 1), d][0])
        gone = yield from self.find(
            lambda rows: (self.ticks.volts_high[rows, d] > back_volts) | (self._fed(rows, found) < self._least_fed), found + 1
        )
        if gone is None:
            return found + 1
        yield gone + 1
        if float(self.ticks.volts_high[self.ticks.rows(gone, gone + 2), d].max()) > back_volts:
            return gone + 1  # volts that come back are low in the window over their edge
        event = Occurrence(district=d, cause=Cause.PROTECTION_OPEN, start_s=gone * TICK_S, confidence=0.95)
        event.evidence = {
            "volts_before": self.stream.median("volts", d, found - 7, found - 2),
            "amps_before": max(self.stream.median("amps", d, found - 7, found - 2), self._zero_amps),
            "volts_wavered": 0.0,
        }
        event.evidence.update(opening_evidence(self.ticks, self.circuits, int(self.circuits.supply_of[d]), gone))
        self.tell(event)
        return (yield from self._follow(event, gone))

    def _event(self, tick: int) -> Occurrence:
        """What is known a moment after the district went dead; a plain break counts as one by hand until it shows otherwise."""
        d = self.district
        event = Occurrence(district=d, cause=Cause.DIRECTION_BREAK, start_s=tick * TICK_S)
        event.evidence["volts_before"] = self.stream.median("volts", d, tick - 7, tick - 2)
        event.evidence["amps_before"] = max(self.stream.median("amps", d, tick - 7, tick - 2), self._zero_amps)
        past = self.ticks.rows(tick - 7, tick - 2)
        wavered = float(np.max(self.ticks.volts_high[past, d]) - np.min(self.ticks.volts_low[past, d]))
        event.evidence["volts_wavered"] = wavered
        cut = self.stream.cut(d, tick - 5, tick + 4)
        down = np.flatnonzero(self._is_down(cut, event))
        if len(down):
            event.start_s = float(0.75 * cut.start_s[down[0]] + 0.25 * cut.end_s[down[0]])
            event.evidence["falls"] = float(_swings(cut.volts, event.evidence, falling=True))
        self._judge_onset(event, tick)
        return event

    def _is_down(self, cut: Cut, event: Occurrence) -> Bools:
        """Readings of an open feed: most of the volts gone, or a coasting motor's without amps."""
        dead = np.flatnonzero(cut.volts < self.circuits.off_volts[self.district])
        before = event.evidence["volts_before"]
        if len(dead) and dead[0] >= t.BREAK_EDGE_ROWS:
            # A neighbour's short takes volts and amps along before the protection opens.
            before = min(before, float(cut.volts[dead[0] - t.BREAK_EDGE_ROWS : dead[0]].max()))
        # In a short of this district's own the volts collapse as well, but the amps do not go.
        down = (cut.volts < t.BREAK_DOWN_SHARE * before) & (cut.amps < event.evidence["amps_before"])
        if self.circuits.is_ac[self.district]:
            return np.asarray(down)
        coasts = (cut.amps < self._zero_amps) & (cut.volts < t.FEED_FELL_SHARE * event.evidence["volts_before"])
        return np.asarray(down | coasts)

    def _judge_onset(self, event: Occurrence, tick: int) -> None:
        """An opening takes every district of its supply within the same cycle; a hand takes its own."""
        near = self.circuits.supply_of == self.circuits.supply_of[self.district]
        stays, fell = self._others(event, tick)
        slid_s = self._slid_s(event, tick)
        if slid_s > 0:
            event.evidence["slid_s"] = slid_s
        elif fell_everywhere(self.stream, tick, self._volts_before(tick)):
            event.cause, event.confidence = Cause.MAINS_DIP, 0.98
        elif bool(stays[near].any()):
            self._call(
                event, (self._output_overload(tick), Cause.PROTECTION_OPEN, 0.85), (self._faded(tick), Cause.THROTTLE, 0.8)
            )
        else:
            together = bool(fell[near].any())
            event.evidence["with" if together else "alone"] = 1.0
            overload = self._overload(event, tick, alone=not together)
            self._call(
                event,
                (overload > 0, Cause.PROTECTION_OPEN, overload),
                (self._output_overload(tick), Cause.PROTECTION_OPEN, 0.85),
                (self._faded(tick), Cause.THROTTLE, 0.8),
                (together, Cause.FEED_LOST, 0.7),
            )
        if event.cause is Cause.PROTECTION_OPEN:
            supply = int(self.circuits.supply_of[self.district])
            event.evidence.update(opening_evidence(self.ticks, self.circuits, supply, tick))

    @staticmethod
    def _call(event: Occurrence, *cases: tuple[bool, Cause, float]) -> None:
        """The first case that holds names the cause and how sure it is."""
        for holds, cause, confidence in cases:
            if holds:
                event.cause, event.confidence = cause, confidence
                return

    def _volts_before(self, tick: int) -> Floats:
        return np.asarray(self.ticks.usual_volts[self.ticks.rows(tick, tick + 1)][0])

    def _others(self, event: Occurrence, tick: int) -> tuple[Bools, Bools]:
        """Which other districts keep their volts through this fall, or have them back meanwhile; which fell and stay down."""
        stays, fell = (np.zeros(len(self.circuits), dtype=np.bool_) for _ in range(2))
        for other in np.flatnonzero(np.arange(len(self.circuits)) != self.district).tolist():
            cut = self.stream.cut(other, tick - 5, tick + 3)
            live = cut.volts > 2 * self.circuits.off_volts[other]
            if not self.circuits.is_ac[other]:
                rows = np.searchsorted(np.arange(tick - 5, tick + 3) + 1.0, cut.end_s / TICK_S)
                ticks = self.ticks.volts_high[self.ticks.rows(tick - 5, tick + 3), other]
                live &= ticks[np.minimum(rows, len(ticks) - 1)] > 2 * self.circuits.off_volts[other]
            window_s = median(cut.end_s - cut.start_s)
            before = (cut.end_s < event.start_s + 0.5 * window_s) & (
                cut.end_s > event.start_s - t.BREAK_TOGETHER_WINDOWS * window_s
            )
            after = cut.start_s > event.start_s + 0.5 * window_s
            stays[other] = bool(live[after].any())
            fell[other] = bool(live[before].any()) and bool(after.any()) and not stays[other]
        return stays, fell

    def _overload(self, event: Occurrence, tick: int, *, alone: bool) -> float:
        """How sure it is that the supply gave too much just before; 0 where nothing says so.

        Where this was the only live district its own amps must have been too high to the last, the inrush after a press apart.
        """
        supply = int(self.circuits.supply_of[self.district])
        multiple, leap = overload_before(self.ticks, self.circuits, supply, tick)
        shorted = short_before(self.ticks, self.circuits, supply, tick)
        event.evidence["supply_rating_multiple"] = multiple
        if alone:
            multiple = self._last_multiple(event, tick)
            leap, shorted = multiple, shorted and multiple > t.BREAK_OVERLOAD
        if not (multiple > t.BREAK_OVERLOAD or leap > t.BREAK_SHORT_CIRCUIT or shorted):
            return 0.0
        event.evidence["highest_amps_before"] = leap * float(self.circuits.rated_amps[supply])
        return 0.97 if max(multiple, leap / t.BREAK_SHORT_CIRCUIT) > 1.1 or shorted else 0.85

    def _last_multiple(self, event: Occurrence, tick: int) -> float:
        """What this district drew in the last tenth of a second, as a multiple of the supply's rating; 0 while it starts."""
        if not bool(self.ticks.calm[self.ticks.rows(tick - 1, tick), self.district].all()):
            return 0.0
        cut = self.stream.cut(self.district, tick - 3, tick + 1)
        last = (cut.end_s <= event.start_s) & (cut.end_s > event.start_s - 0.1)
        amps = float(np.max(cut.amps[last], initial=0.0))
        return amps / float(self.circuits.rated_amps[self.circuits.supply_of[self.district]])

    def _slid_s(self, event: Occurrence, tick: int) -> float:
        """Turned down by hand: how long the volts went down through cycles without turning back, and the amps with them; 0 where not."""
        cut = self.stream.cut(self.district, tick - t.BREAK_SLID_TICKS, tick + 3)
        volts, amps = event.evidence["volts_before"], event.evidence["amps_before"]
        under = np.flatnonzero(cut.volts < t.BREAK_SLID_LOW * volts)
        if not len(under):
            return 0.0
        over = np.flatnonzero(cut.volts[: under[0]] > t.BREAK_SLID_HIGH * volts)
        way = slice(int(over[-1]) + 1 if len(over) else 0, int(under[0]))
        back = cut.volts[way] - np.minimum.accumulate(cut.volts[way])
        steady = bool((back < t.BREAK_SWING_SHARE * volts).all())
        steady &= sharpest_share(cut.end_s, cut.volts, -volts) < t.BREAK_SLID_STEP
        if way.stop - way.start < t.BREAK_SLID_ROWS or not steady:
            return 0.0
        # On DC a coasting motor holds the volts of an open feed up, but it takes no amps.
        fed = cut.amps[way] > max(self._zero_amps, t.BREAK_SLID_LOW * amps)
        is_fed = bool(self.circuits.is_ac[self.district]) or bool(fed.mean() > 0.5)
        return float(cut.end_s[way.stop] - cut.end_s[way.start]) if is_fed else 0.0

    def _output_overload(self, tick: int) -> bool:
        circuits = self.circuits
        same = circuits.output_of == circuits.output_of[self.district]
        amps = self.ticks.amps[self.ticks.rows(tick - t.OPENING_LOOK_BACK_TICKS, tick - 1)][:, same].sum(axis=1)
        return highest_mean(amps, 5) > float(circuits.output_max_amps[self.district])

    def _faded(self, tick: int) -> bool:
        """Turned down by hand: volts were on the way down for tenths of a second before."""
        just = self.stream.median("volts", self.district, tick - 3, tick - 1)
        return just < 0.7 * self.stream.median("volts", self.district, tick - 15, tick - 10)

    def _follow(self, event: Occurrence, tick: int) -> Generator[int, None, int]:
        """Wait until volts are back; a chatter of the contact, or too long a break, is no hand's."""
        d, off = self.district, self.circuits.off_volts[self.district]
        at, limit = tick + 1, tick + t.BREAK_BY_HAND_TICKS
        while True:
            undecided = event.cause is Cause.DIRECTION_BREAK
            until = limit if undecided or (event.cause is Cause.MAINS_DIP and at < limit) else None
            back = yield from self.find(lambda rows: self.ticks.volts_high[rows, d] > 2 * off, at, until)
            if back is None and event.cause is Cause.MAINS_DIP:
                self.tell(event)
                at = limit
                continue
            if back is None and "slid_s" in event.evidence:
                event.cause, event.confidence, event.end_s = Cause.THROTTLE, t.THROTTLE_SLID, event.start_s
                self.tell(event)
                continue
            if back is None:
                # From coarse readings a throttle slammed shut looks like this as well.
                fine = is_fine(self.stream.cut(d, tick - 5, tick + 3))
                self._call_lost(event, 0.92 if fine else t.BREAK_UNSURE)
                continue
            yield back + t.BREAK_BACK_TICKS + 1
            low = self.ticks.volts_low[self.ticks.rows(back + 1, back + 1 + t.BREAK_BACK_TICKS), d]
            if bool((low > off).all()):
                self._close(event, back)
                return back + t.BREAK_BACK_TICKS
            if undecided and self._all_went(tick, back):
                self._close(event, back)
                return back + 1
            if undecided and "slid_s" not in event.evidence:
                self._call_lost(event, 0.95)
            at = back + 1

    def _all_went(self, tick: int, back: int) -> bool:
        """The supply's other districts, live through this break, went with the volts that had just come back: an opening, no chatter."""
        others = self.circuits.neighbours(self.district)
        others = others[others != self.district]
        off = self.circuits.off_volts[others]
        live = (self.ticks.volts_low[self.ticks.rows(tick, back)][:, others] > off).all(axis=0)
        low = np.min(self.ticks.volts_low[self.ticks.rows(back + 1, back + 1 + t.BREAK_BACK_TICKS)][:, others], axis=0)
        return bool(live.any()) and bool((low < off)[live].all())

    def _call_lost(self, event: Occurrence, confidence: float) -> None:
        event.cause, event.confidence = Cause.FEED_LOST, confidence
        self._tell_if_sure(event)

    def _tell_if_sure(self, event: Occurrence) -> None:
        """A cause named wrongly is worse than none."""
        if event.confidence >= t.LEAST_CONFIDENCE:
            self.tell(event)

    def _close(self, event: Occurrence, back: int) -> None:
        d = self.district
        cut = self.stream.cut(d, back - 3, back + t.BREAK_BACK_TICKS + 1)
        down = np.flatnonzero(self._is_down(cut, event))
        end_s = float(0.25 * cut.start_s[down[-1]] + 0.75 * cut.end_s[down[-1]]) if len(down) else back * TICK_S
        event.end_s = max(event.start_s, end_s)
        event.evidence["dead_s"] = event.end_s - event.start_s
        event.evidence["rises"] = float(_swings(cut.volts, event.evidence, falling=False))
        if self._is_press(event) or self._is_of_several_hands(event, back):
            event.cause = Cause.DIRECTION_BREAK
        if event.evidence.get("slid_s", 0.0) > t.BREAK_SLID_S:
            event.cause, event.confidence = Cause.THROTTLE, t.THROTTLE_SLID
        elif event.cause is Cause.DIRECTION_BREAK:
            self._judge_hand(event, fine=is_fine(cut))
        if event.cause is Cause.THROTTLE:
            event.end_s = event.start_s
        self._tell_if_sure(event)

    def _is_press(self, event: Occurrence) -> bool:
        """The only live district, dead for a moment only, without a short: no protection that opened so slowly closes so soon."""
        leap = event.evidence.get("highest_amps_before", 0.0) / float(
            self.circuits.rated_amps[self.circuits.supply_of[self.district]]
        )
        soon = event.evidence["dead_s"] < t.BREAK_PRESSED_S and leap < t.BREAK_SHORT_CIRCUIT
        return event.cause is Cause.PROTECTION_OPEN and "alone" in event.evidence and soon

    def _is_of_several_hands(self, event: Occurrence, back: int) -> bool:
        """What went together comes back together: two hands that fell on two switches at once do not rise at once."""
        together = event.cause is Cause.MAINS_DIP or (
            event.cause in (Cause.PROTECTION_OPEN, Cause.FEED_LOST) and "with" in event.evidence
        )
        if not together or event.evidence["dead_s"] > 0.1 * t.BREAK_BY_HAND_TICKS:
            return False
        among = event.cause is Cause.MAINS_DIP or self.circuits.supply_of == self.circuits.supply_of[self.district]
        return not rose_together(self.stream, back, self._volts_before(int(event.start_s / TICK_S)), np.asarray(among))

    def _judge_hand(self, event: Occurrence, *, fine: bool) -> None:
        """A hand's switch opens once and closes once."""
        ragged = max(event.evidence.get("falls", 1.0), event.evidence["rises"]) > 1
        if fine and ragged:
            event.cause, event.confidence = Cause.FEED_LOST, 0.95
        elif fine and event.evidence["dead_s"] < t.BREAK_SHORTEST_BY_HAND_S:
            event.cause, event.confidence = Cause.FEED_LOST, t.BREAK_UNSURE
        else:
            event.confidence = 0.98 if fine else 0.8


def _swings(volts: Floats, evidence: dict[str, float], *, falling: bool) -> int:
    """How often volts fell or rose by a good part of what they were without turning back in between.

    A window averages over a cycle, so a contact that chatters faster shows as volts that go up and down part of the way.
    """
    least = max(t.BREAK_SWING_SHARE * evidence["volts_before"], t.BREAK_WAVERED * evidence["volts_wavered"])
    count, turning, way = 0, float(volts[0]) if len(volts) else 0.0, 0
    for value in volts.tolist():
        if (value - turning) * way > 0:
            turning = value
        elif abs(value - turning) > least:
            way = 1 if value > turning else -1
            turning = value
            count += (way < 0) is falling
    return count
