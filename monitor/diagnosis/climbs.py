"""Climbs: amps rise while the volts hold. A train that binds, told from grades, arrivals and things switched on."""

from collections.abc import Generator
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.watcher import Bools, Stream, Watcher, Watching
from monitor.facts import thresholds as t
from monitor.facts.balance import handed_over
from monitor.facts.edges import is_fine, sharpest_share, steady
from monitor.facts.medians import lowest_tenth, median, medians
from monitor.facts.rows import Cut
from monitor.facts.sliding import rows_before, sliding
from monitor.facts.stillness import waver_share
from monitor.facts.ticks import TICK_S
from monitor.values import Cause
from monitor.values.arrays import Floats

COMPARED_TICKS = t.CLIMB_LOOK_BACK_TICKS - t.CLIMB_BEFORE_TICKS // 2


class _Climb(NamedTuple):
    """What was measured around an onset.

    Attributes:
        found: Its tick.
        floor: The lowest usual amps of the seconds before.
        level: Amps behind it.
        volts_before: Volts in the seconds before.
        volts_during: Volts behind it.
        high: The highest amps that laps brought before.
        both: What two trains draw that are on such a hill each.
        known: Enough of the train's way was seen to tell.
    """

    found: int
    floor: float
    level: float
    volts_before: float
    volts_during: float
    high: float
    both: float
    known: bool


class Climbs(Watcher):
    """Watches a track district's amps for a climb that stays."""

    def __init__(self, stream: Stream, district: int) -> None:
        super().__init__(stream, district)
        self._bound: list[tuple[int, int]] = []
        self._same_since = -t.CLIMB_BEFORE_TICKS  # since this tick no train came

    @staticmethod
    def onsets(stream: Stream, rows: slice) -> Bools:
        """Half a second's median well above the lowest half second of the last two and a half."""
        ticks = stream.ticks
        usual = ticks.usual_amps[rows]
        lowest = sliding(np.minimum, rows_before(ticks.usual_amps, rows, t.CLIMB_BEFORE_TICKS + 1, 0), t.CLIMB_BEFORE_TICKS + 1)
        return np.asarray((usual > t.CLIMB_LEAST_RATIO * lowest) & (usual > lowest + t.CLIMB_LEAST_AMPS) & ticks.calm[rows])

    def watch(self, tick: int) -> Watching:
        """Watch for ever."""
        while True:
            found = yield from self.onset(tick)
            yield found + t.CLIMB_STAYS_TICKS + 1
            onsets = self._every_other(found)
            tick = int(onsets[-1]) + 2
            for climb in self._measured(onsets):
                same_since = self._same_since
                event = yield from self._event(climb)
                if event is not None:
                    self.look_at(climb.found + t.CLIMB_STAYS_TICKS + 1)
                    self.tell(event)
                    tick = yield from self._follow(event, climb)
                    break
                if self._same_since != same_since:
                    tick = climb.found + 2  # to be measured anew against what this one leaves to compare with
                    break

    def _every_other(self, found: int) -> NDArray[np.intp]:
        """This onset and those soon after it that can be decided by now, two ticks apart at least."""
        onsets = [found]
        for tick in self.coming(min(self.ticks.end - t.CLIMB_STAYS_TICKS, found + t.CLIMB_TOGETHER_TICKS)):
            if tick >= onsets[-1] + 2:
                onsets.append(tick)
        return np.array(onsets)

    def _measured(self, found: NDArray[np.intp]) -> list[_Climb]:
        """Those of the onsets after which the amps stay up, higher than on any hill, while the volts hold."""
        laps = self._laps(found)
        if self._is_hilly(found, laps):
            return []
        amps, volts = (
            self._around("amps", found, -2, t.CLIMB_STAYS_TICKS),
            self._around("volts", found, -2, t.CLIMB_STAYS_TICKS),
        )
        floor, level = np.min(self._around("usual_amps", found, -t.CLIMB_BEFORE_TICKS, 0), axis=1), medians(amps, 1)
        stays = (amps[:, 2:] > (floor + t.CLIMB_STAYS_SHARE * (level - floor))[:, None]).mean(axis=1) > 0.85
        stays &= medians(amps[:, -4:], 1) > t.CLIMB_LASTS_SHARE * medians(amps[:, 2:6], 1)
        before, during = medians(self._around("volts", found, -t.CLIMB_BEFORE_TICKS, -9), 1), medians(volts, 1)
        holds = (t.CLIMB_HOLD_SHARE * before < during) & (during < 1.025 * before)
        # The floor is the lowest of these seconds, so the volts that it is held against are the highest.
        highest = np.max(self._around("usual_volts", found, -t.CLIMB_BEFORE_TICKS, 0), axis=1)
        holds &= (highest - during) * floor < t.CLIMB_FALL * (level - floor) * highest
        some = np.flatnonzero((floor + t.CLIMB_LEAST_AMPS < level) & stays & holds)
        high, base, known = _highest(laps, found[some] - found[0], during[some])
        above = level[some] > t.CLIMB_ABOVE_HIGH_RATIO * high
        figures = [
            values[above].tolist()
            for values in (found[some], floor[some], level[some], before[some], during[some], high, 2 * high - base, known)
        ]
        return [_Climb(*climb) for climb in zip(*figures, strict=True)]

    def _around(self, name: str, found: NDArray[np.intp], first: int, last: int) -> Floats:
        """A figure of this district at the ticks first..last-1 counted from each onset, shape (k, last - first)."""
        rows = (found - self.ticks.base)[:, None] + np.arange(first, last)
        return np.asarray(getattr(self.ticks, name)[rows, self.district])

    def _laps(self, found: NDArray[np.intp]) -> Floats:
        """Volts and amps of the ticks that these onsets are compared with, shape (2, n); volts are NaN where a tick does not count."""
        first, last = int(found[0]) - t.CLIMB_LOOK_BACK_TICKS, int(found[-1]) - t.CLIMB_BEFORE_TICKS // 2
        rows = self.ticks.rows(first, last)
        tick = np.arange(last - (rows.stop - rows.start), last)
        counts = self.ticks.calm[rows, self.district] & (tick >= self._same_since)
        for bound, free in self._bound:
            counts &= (tick < bound) | (tick >= free)
        laps = np.full((2, last - first), np.nan)
        laps[0, last - first - len(tick) :] = np.where(counts, self.ticks.volts[rows, self.district], np.nan)
        laps[1, last - first - len(tick) :] = self.ticks.amps[rows, self.district]
        return laps

    def _is_hilly(self, found: NDArray[np.intp], laps: Floats) -> bool:
        """Laps brought as much as all that came with these onsets, and so often that it can be above the high of none of them."""
        rows = self.ticks.rows(int(found[0]) - 2, int(found[-1]) + t.CLIMB_STAYS_TICKS)
        amps, volts = self.ticks.amps[rows, self.district], self.ticks.volts[rows, self.district]
        # All of them are compared with these ticks, whatever their volts.
        volts_then, amps_then = laps[:, found[-1] - found[0] : COMPARED_TICKS]
        same = (volts_then > t.CLIMB_SAME_VOLTS_SHARE * volts.max()) & (volts_then * t.CLIMB_SAME_VOLTS_SHARE < volts.min())
        often = int(np.count_nonzero(same & (t.CLIMB_ABOVE_HIGH_RATIO * amps_then >= amps.max())))
        return often > (1 - t.CLIMB_HIGH_QUANTILE) * COMPARED_TICKS + 1

    def _event(self, climb: _Climb) -> Generator[int, None, Occurrence | None]:
        found, floor, level, high = climb.found, climb.floor, climb.level, climb.high
        if self.stream.signal_changed(self.district, found - t.CLIMB_BEFORE_TICKS, found + 2):
            return None  # a whistle draws amps of its own
        waver_share = None
        stalled = climb.known and self._stalled(climb)
        if not stalled and (not level < t.CLIMB_ARRIVAL_RATIO * floor or self._came_from_elsewhere(found, floor, level)):
            waver_share = (yield from self._waver_share(climb)) if climb.known and self._is_own(climb) else None
            stalled = waver_share is not None and waver_share < t.STILL_SHARE
            if not stalled:
                # What laps brought before says nothing about one train more.
                if found - t.CLIMB_BEFORE_TICKS > self._same_since:
                    self._same_since = found + t.CLIMB_STAYS_TICKS // 2
                return None
        if not climb.known or (
            not stalled and (level < climb.both or (self._may_have_turned(found) and level < t.CLIMB_SURE * high))
        ):
            return None
        event = Occurrence(district=self.district, cause=Cause.BINDING, start_s=self._onset_s(found, floor, level))
        event.evidence = {
            "amps_before": floor,
            "amps_highest_before": high,
            "amps_during": level,
            "amps_ratio": level / max(floor, 1e-9),
            "volts_before": climb.volts_before,
            "volts_during": climb.volts_during,
        }
        if waver_share is not None:
            event.evidence["waver_share"] = waver_share
        event.confidence = 0.95 if level > t.CLIMB_SURE * high else 0.85
        return event

    def _may_have_turned(self, found: int) -> bool:
        """The volts were broken within the laps looked back on: the other way round its hills are others."""
        return not bool(self.ticks.calm[self.ticks.rows(found - t.CLIMB_KNOWN_TICKS, found), self.district].all())

    def _is_own(self, climb: _Climb) -> bool:
        """The volts stayed on, and no other district lost what came on here."""
        found, change = climb.found, climb.level - climb.floor
        rows = self.ticks.rows(found - t.CLIMB_BEFORE_TICKS, found + t.CLIMB_STAYS_TICKS)
        if not bool(self.ticks.calm[rows, self.district].all()) or self._left_another(found, change):
            return False
        onset = int(self._onset_s(found, climb.floor, climb.level) / TICK_S)
        return not handed_over(self.stream, self.district, onset, -change)

    def _waver_share(self, climb: _Climb) -> Generator[int, None, float]:
        """What the amps waver by behind the climb, as a share of the least that laps did: a load adds to that, a stall ends it."""
        first, last = climb.found + t.STILL_AFTER_TICKS, climb.found + t.STILL_AFTER_TICKS + t.STILL_TICKS
        yield last
        volts, amps = self._laps(np.array([climb.found]))
        return waver_share(np.where(np.isnan(volts), np.nan, amps), self.ticks.amps[self.ticks.rows(first, last), self.district])

    def _stalled(self, climb: _Climb) -> bool:
        """Brought to a stop within a moment: far more amps, and no more ripple than before, for no wheel turns.

        A load switched on is there within a cycle, and a train that arrives brings ripple of its own.
        """
        found, floor, level = climb.found, climb.floor, climb.level
        cut = self.stream.cut(self.district, found - t.CLIMB_BEFORE_TICKS - 8, found + 2)
        if not is_fine(cut) or not self._is_own(climb):
            return False
        before = self.stream.ripple(
            self.district, found - t.CLIMB_BEFORE_TICKS - t.CLIMB_STAYS_TICKS, found - t.CLIMB_BEFORE_TICKS // 2
        )
        left = self.stream.ripple(self.district, found + 2, found + t.CLIMB_STAYS_TICKS) / before
        cut = cut._replace(amps=steady(cut.amps))
        share, rise_s = sharpest_share(cut.end_s, cut.amps, level - floor), _rise_s(cut, floor, level)
        if left < t.CLIMB_SILENT_SHARE:
            return share < t.CLIMB_CLOSED_SHARE and level < t.CLIMB_ARRIVAL_RATIO * floor
        enough = level > t.CLIMB_STALL_RATIO * max(climb.high, floor) and left < min(
            t.CLIMB_STALL_RIPPLE, t.CLIMB_STALL_RELATIVE * level / floor
        )
        return enough and share < t.CLIMB_SWITCHED_SHARE and rise_s < t.CLIMB_STALL_S

    def _onset_s(self, found: int, floor: float, level: float) -> float:
        cut = self.stream.cut(self.district, found - t.CLIMB_BEFORE_TICKS, found)
        under = np.flatnonzero(_smooth(cut.amps) < floor + 0.15 * (level - floor))
        return float(cut.end_s[under[-1]]) if len(under) else (found - t.CLIMB_BEFORE_TICKS) * TICK_S

    def _came_from_elsewhere(self, found: int, floor: float, level: float) -> bool:
        """Switched on, driven in from another district, or started: nothing that was running already."""
        climb = level - floor
        if self._left_another(found, climb):
            return True
        cut = self.stream.cut(self.district, found - t.CLIMB_BEFORE_TICKS - 8, found + 2)
        if is_fine(cut):
            cut = cut._replace(amps=steady(cut.amps))  # without losses of contact, which end within a cycle
        if sharpest_share(cut.end_s, cut.amps, climb) >= t.EDGE_SHARP_SHARE or (
            is_fine(cut) and _rise_s(cut, floor, level) < t.CLIMB_ARRIVAL_S
        ):
            return True
        # Only a motor wavers with its load; without one before, something arrived. Coarse readings do not show it.
        return (
            is_fine(cut)
            and self._spread(found - 36, found - 26) / floor < t.CLIMB_LAMP_QUIET * self._spread(found + 2, found + 12) / level
        )

    def _left_another(self, found: int, climb: float) -> bool:
        """Another track district lost what this one gained, and draws far less than before, or less than anywhere on its laps."""
        after = self.stream.medians("amps", found + 4, found + 12)
        before = self.stream.medians("amps", found - 36, found - 24)
        just = self.stream.medians("amps", found - 15, found - 9)
        lost, lost_now = before - after, just - after
        lost[self.district] = lost_now[self.district] = 0.0
        is_track = self.circuits.is_track
        wholly = (lost_now > t.BALANCE_WHOLLY * climb) | (
            (lost_now > t.CLIMB_LEFT_OF_CLIMB * climb) & (lost_now > t.CLIMB_LEFT_OF_OWN * just)
        )
        if bool((is_track & wholly).any()):
            return True
        for other in np.flatnonzero(is_track & (lost > t.BALANCE_PARTLY * climb)).tolist():
            past = self.ticks.amps[self.ticks.rows(found - 24 - t.CLIMB_LEFT_TICKS, found - 24), other]
            if float(after[other]) < t.CLIMB_LEFT_SHARE * lowest_tenth(past):
                return True
        return False

    def _spread(self, first: int, last: int) -> float:
        rows = self.ticks.rows(first, last)
        return median(self.ticks.amps_high[rows, self.district] - self.ticks.amps_low[rows, self.district])

    def _follow(self, event: Occurrence, climb: _Climb) -> Generator[int, None, int]:
        """Until the amps fall below the middle for half a second, or the volts go."""
        d, found, middle = self.district, climb.found, 0.5 * (climb.floor + climb.level)
        at = found + t.CLIMB_STAYS_TICKS
        while True:
            under = yield from self.find(lambda rows: (self.ticks.amps[rows, d] < middle) | ~self.ticks.calm[rows, d], at)
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
        self.tell(event)
        self._bound = [*self._bound, (found - t.CLIMB_BEFORE_TICKS // 2, at + 5)][-t.CLIMB_REMEMBERED :]
        return at + 8


def _highest(laps: Floats, at: NDArray[np.intp], volts: Floats) -> tuple[Floats, Floats, Bools]:
    """The highest amps that a train's laps brought before each onset, those on the level, and whether enough of its way was seen.

    Args:
        laps: Shape (2, n): volts and amps of the ticks before the onsets.
        at: Shape (k,): where in them each onset's minute begins.
        volts: Shape (k,): volts behind each onset.
    """
    if not len(at):
        return np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.bool_)
    volts_then, amps = sliding_window_view(laps, COMPARED_TICKS, axis=1)[:, at]
    volts = volts[:, None]
    same = (volts_then > t.CLIMB_SAME_VOLTS_SHARE * volts) & (volts_then * t.CLIMB_SAME_VOLTS_SHARE < volts)
    # A hill asks for the same torque at any speed; at more volts it may take as much more amps at the most.
    ordered = np.sort(np.where(same, amps * np.maximum(1.0, volts / volts_then), np.inf), axis=1)
    count = same.sum(axis=1)
    high, base = (
        np.where(
            count < t.CLIMB_STAYS_TICKS, 0.0, ordered[np.arange(len(at)), (share * np.maximum(count - 1, 0)).astype(np.intp)]
        )
        for share in (t.CLIMB_HIGH_QUANTILE, t.CLIMB_LEVEL_QUANTILE)
    )
    return high, base, count >= t.CLIMB_KNOWN_TICKS


def _rise_s(cut: Cut, floor: float, level: float) -> float:
    """From a fifth to four fifths of a climb."""
    over = np.flatnonzero(cut.amps > floor + 0.8 * (level - floor))
    under = np.flatnonzero(cut.amps[: over[0]] < floor + 0.2 * (level - floor)) if len(over) else over
    return float(cut.end_s[over[0]] - cut.end_s[under[-1]]) if len(under) else np.inf


def _smooth(values: Floats) -> Floats:
    return values if len(values) < 3 else np.convolve(np.pad(values, 1, mode="edge"), np.full(3, 1 / 3), mode="valid")
