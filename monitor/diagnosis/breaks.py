"""Breaks: volts and amps gone. By hand, by the protection, with the mains, or a feed that came loose."""

from collections.abc import Generator

import numpy as np

from monitor.diagnosis.edges import is_fine
from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.openings import FELL_SHARE, zero_amps
from monitor.diagnosis.overloads import LOOK_BACK_TICKS, highest_mean, opening_evidence, overload_before, short_before
from monitor.diagnosis.rows import Cut
from monitor.diagnosis.sliding import rows_before, sliding
from monitor.diagnosis.ticks import TICK_S
from monitor.diagnosis.watcher import Bools, Floats, Stream, Watcher, Watching
from monitor.values import Cause

LIVE_TICKS = 5
BY_HAND_TICKS = 35  # a break that steps a reversing unit is 0.15-3 s long; longer is not one
SHORTEST_BY_HAND_S = 0.1  # nobody lets go of a button faster
DOWN_SHARE = 0.5
BACK_TICKS = 3  # volts are back when they stay for so long: a loose contact chatters faster than a hand
SWING_SHARE = 0.2
WAVERED = 1.3  # times what they wavered by just before, as pulses do that fall between the samples
OVERLOAD = 0.97  # of the protection's rated amps: it may open up to a quarter early, never at ordinary running
SHORT_CIRCUIT = 1.8


class Breaks(Watcher):
    """Watches for a live district that goes dead."""

    def __init__(self, stream: Stream, district: int) -> None:
        super().__init__(stream, district)
        self._zero_amps = float(zero_amps(self.circuits)[district])

    @staticmethod
    def onsets(stream: Stream, rows: slice) -> Bools:
        """The volts are gone, and were there in every tick of the half second before."""
        low, off = stream.ticks.volts_low, stream.circuits.off_volts
        live = rows_before(low, rows, LIVE_TICKS, 1) > off
        return np.asarray((low[rows] < off) & sliding(np.logical_and, live, LIVE_TICKS))

    def watch(self, tick: int) -> Watching:
        """Watch for ever."""
        while True:
            found = yield from self.onset(tick)
            yield found + 3
            event = self._event(found)
            if event.cause is not Cause.DIRECTION_BREAK:
                self.tell(event)
            tick = yield from self._follow(event, found)

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

    def _is_down(self, cut: Cut, event: Occurrence) -> "np.ndarray[tuple[int], np.dtype[np.bool_]]":
        """Readings of an open feed: most of the volts gone, or a coasting motor's without amps."""
        # In a short the volts collapse as well, but the amps do not go.
        down = (cut.volts < DOWN_SHARE * event.evidence["volts_before"]) & (cut.amps < event.evidence["amps_before"])
        if self.circuits.is_ac[self.district]:
            return np.asarray(down)
        coasts = (cut.amps < self._zero_amps) & (cut.volts < FELL_SHARE * event.evidence["volts_before"])
        return np.asarray(down | coasts)

    def _judge_onset(self, event: Occurrence, tick: int) -> None:
        """The protection and the mains show at once; so does a throttle turned down to nothing."""
        circuits, d = self.circuits, self.district
        dead, live = self._dead(tick), self._live(tick)
        near = circuits.neighbours(d)
        supply_dead = bool((dead | ~live)[near].all())
        elsewhere = live & (circuits.supply_of != circuits.supply_of[d])
        supply = int(circuits.supply_of[d])
        multiple, leap = overload_before(self.ticks, circuits, supply, tick)
        shorted = short_before(self.ticks, circuits, supply, tick)
        event.evidence["supply_rating_multiple"] = multiple
        if bool(elsewhere.any()) and supply_dead and bool(dead[elsewhere].all()):
            event.cause, event.confidence = Cause.MAINS_DIP, 0.98
        elif supply_dead and (multiple > OVERLOAD or leap > SHORT_CIRCUIT or shorted):
            event.cause = Cause.PROTECTION_OPEN
            event.confidence = 0.97 if max(multiple, leap / SHORT_CIRCUIT) > 1.1 or shorted else 0.85
            event.evidence["highest_amps_before"] = leap * circuits.rated_amps[supply]
            event.evidence.update(opening_evidence(self.ticks, circuits, supply, tick))
        elif self._output_overload(tick):
            event.cause, event.confidence = Cause.PROTECTION_OPEN, 0.85
        elif self._faded(tick):
            event.cause, event.confidence = Cause.THROTTLE, 0.8
        elif supply_dead and int((live & dead)[near].sum()) > 1:
            event.cause, event.confidence = Cause.FEED_LOST, 0.7

    def _dead(self, tick: int) -> "np.ndarray[tuple[int], np.dtype[np.bool_]]":
        rows = self.ticks.rows(tick - 1, tick + 3)
        low = self.ticks.volts_low[rows]
        return np.asarray((low < self.circuits.off_volts).any(axis=0))

    def _live(self, tick: int) -> "np.ndarray[tuple[int], np.dtype[np.bool_]]":
        return np.asarray(self.stream.medians("volts", tick - 6, tick - 1) > self.circuits.off_volts)

    def _output_overload(self, tick: int) -> bool:
        circuits = self.circuits
        same = circuits.output_of == circuits.output_of[self.district]
        amps = self.ticks.amps[self.ticks.rows(tick - LOOK_BACK_TICKS, tick - 1)][:, same].sum(axis=1)
        return highest_mean(amps, 5) > float(circuits.output_max_amps[self.district])

    def _faded(self, tick: int) -> bool:
        """Turned down by hand: volts were on the way down for tenths of a second before."""
        just = self.stream.median("volts", self.district, tick - 3, tick - 1)
        return just < 0.7 * self.stream.median("volts", self.district, tick - 15, tick - 10)

    def _follow(self, event: Occurrence, tick: int) -> Generator[int, None, int]:
        """Wait until volts are back; a chatter of the contact, or too long a break, is no hand's."""
        d, off = self.district, self.circuits.off_volts[self.district]
        at, limit = tick + 1, tick + BY_HAND_TICKS
        while True:
            undecided = event.cause is Cause.DIRECTION_BREAK
            back = yield from self.find(lambda rows: self.ticks.volts_high[rows, d] > 2 * off, at, limit if undecided else None)
            if back is None:
                self._call_lost(event, 0.92)
                continue
            yield back + BACK_TICKS + 1
            low = self.ticks.volts_low[self.ticks.rows(back + 1, back + 1 + BACK_TICKS), d]
            if bool((low > off).all()):
                self._close(event, back)
                return back + BACK_TICKS
            if undecided:
                self._call_lost(event, 0.95)
            at = back + 1

    def _call_lost(self, event: Occurrence, confidence: float) -> None:
        event.cause, event.confidence = Cause.FEED_LOST, confidence
        self.tell(event)

    def _close(self, event: Occurrence, back: int) -> None:
        d = self.district
        cut = self.stream.cut(d, back - 3, back + BACK_TICKS + 1)
        down = np.flatnonzero(self._is_down(cut, event))
        end_s = float(0.25 * cut.start_s[down[-1]] + 0.75 * cut.end_s[down[-1]]) if len(down) else back * TICK_S
        event.end_s = max(event.start_s, end_s)
        event.evidence["dead_s"] = event.end_s - event.start_s
        event.evidence["rises"] = float(_swings(cut.volts, event.evidence, falling=False))
        if event.cause is Cause.DIRECTION_BREAK:
            self._judge_hand(event, fine=is_fine(cut))
        if event.cause is Cause.THROTTLE:
            event.end_s = event.start_s
        self.tell(event)

    def _judge_hand(self, event: Occurrence, *, fine: bool) -> None:
        """A hand's switch opens once and closes once."""
        ragged = max(event.evidence.get("falls", 1.0), event.evidence["rises"]) > 1
        if fine and ragged:
            event.cause, event.confidence = Cause.FEED_LOST, 0.95
        elif fine and event.evidence["dead_s"] < SHORTEST_BY_HAND_S:
            event.cause, event.confidence = Cause.FEED_LOST, 0.6
        else:
            event.confidence = 0.98 if fine else 0.8


def _swings(volts: Floats, evidence: dict[str, float], *, falling: bool) -> int:
    """How often volts fell or rose by a good part of what they were without turning back in between.

    A window averages over a cycle, so a contact that chatters faster shows as volts that go up and down part of the way.
    """
    least = max(SWING_SHARE * evidence["volts_before"], WAVERED * evidence["volts_wavered"])
    count, turning, way = 0, float(volts[0]) if len(volts) else 0.0, 0
    for value in volts.tolist():
        if (value - turning) * way > 0:
            turning = value
        elif abs(value - turning) > least:
            way = 1 if value > turning else -1
            turning = value
            count += (way < 0) is falling
    return count
