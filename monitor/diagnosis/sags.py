"""Sags: volts fall and come back without anybody's hand. A load on the same supply, or the mains."""

from collections.abc import Generator
from dataclasses import dataclass

import numpy as np

from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.watcher import Bools, Stream, Watcher, Watching
from monitor.facts import thresholds as t
from monitor.facts.edges import crossing_s
from monitor.facts.mains import fell_everywhere
from monitor.facts.medians import medians
from monitor.facts.shorts import beyond, collapsed, folded
from monitor.facts.ticks import TICK_S
from monitor.values import Cause
from monitor.values.arrays import Floats


@dataclass(slots=True, kw_only=True)
class _Before:
    """How things stood before the volts fell, and how they stood at the lowest.

    Attributes:
        tick: The tick in which it was found.
        volts: Of all districts.
        amps: Of all districts.
        volts_low: Of all districts, at the tick that is lowest here.
        amps_low: Of all districts, at that tick.
    """

    tick: int
    volts: Floats
    amps: Floats
    volts_low: Floats
    amps_low: Floats


class Sags(Watcher):
    """Watches a district's volts for a fall."""

    @staticmethod
    def onsets(stream: Stream, rows: slice) -> Bools:
        """The volts fell below what was usual in the last half second, and in the last seconds as well."""
        ticks = stream.ticks
        volts, usual, wavering = ticks.volts[rows], ticks.usual_volts[rows], 0.8 * ticks.volts_spread[rows]
        fell = _fell(volts, usual, wavering) & ticks.calm[rows]
        at, district = np.nonzero(fell)
        recent = medians(ticks.before("volts", at + rows.start, district, t.SAG_RECENT_TICKS), 1)
        fell[at, district] = _fell(volts[at, district], np.fmin(usual[at, district], recent), wavering[at, district])
        return fell | _all_dip(stream, rows)[:, None] & ticks.calm[rows]

    def watch(self, tick: int) -> Watching:
        """Watch for ever."""
        while True:
            found = yield from self.onset(tick)
            yield found + 4
            before = self._before(found)
            cause = self._cause(before)
            gone = before.volts_low[self.district] < self.circuits.off_volts[self.district]
            if cause is None or (cause is Cause.MAINS_DIP and gone):  # volts that are gone are the watcher's of breaks
                tick = found + 1
                continue
            over = yield from self._over(before, found + t.SAG_STEADY_TICKS if cause is Cause.SUPPLY_SAG else None)
            if cause is Cause.SUPPLY_SAG and not self._is_lasting(before, over):
                tick = (over or found) + 2
                continue
            if cause is Cause.SUPPLY_SAG and over is None and self._is_shallow(before) and self._is_driven_over(before):
                tick = found + t.SAG_STEADY_TICKS
                continue
            event = self._tell_begin(before, cause)
            if over is None:
                over = yield from self._over(before, found + t.SAG_FORGET_TICKS)
            self._tell_end(event, before, over or found + t.SAG_FORGET_TICKS)
            tick = (over or found + t.SAG_FORGET_TICKS) + 3

    def _before(self, tick: int) -> _Before:
        rows = self.ticks.rows(tick, tick + 4)
        lowest = rows.start + int(np.argmin(self.ticks.volts[rows, self.district]))
        volts = self.stream.medians("volts", tick - 6, tick - 1)
        if tick - t.SAG_RECENT_TICKS - 1 >= self.ticks.base:
            volts = np.fmin(volts, self.stream.medians("volts", tick - t.SAG_RECENT_TICKS - 1, tick - 1))
        return _Before(
            tick=tick,
            # What a hand broke a moment ago is not live, whatever it was before.
            volts=np.where(self.ticks.usual_volts[self.ticks.rows(tick, tick + 1)][0] > self.circuits.off_volts, volts, 0.0),
            amps=np.fmax(self.stream.medians("amps", tick - 6, tick - 1), self.stream.medians("amps", tick - 26, tick - 1)),
            # Ticks do not stay where they are while this is followed.
            volts_low=self.ticks.volts[lowest].copy(),
            amps_low=self.ticks.amps[lowest].copy(),
        )

    def _cause(self, before: _Before) -> Cause | None:
        """By what the amps and the others do at the same instant."""
        circuits, d = self.circuits, self.district
        live = before.volts > circuits.off_volts
        near = circuits.supply_of == circuits.supply_of[d]
        share = before.volts_low / np.maximum(before.volts, 1e-6)
        if fell_everywhere(self.stream, before.tick, before.volts):
            lowest = np.min(self.ticks.volts_low[self.ticks.rows(before.tick, before.tick + 2)], axis=0)
            before.volts_low = np.fmin(before.volts_low, lowest)  # a dip may be shorter than a tick
            return Cause.MAINS_DIP if self._is_dip(before, live) else None
        if not share[d] < 1 - t.SAG_DEPTH or self._is_short(before):
            return None
        rise = float(np.nansum((before.amps_low - before.amps)[near]))
        if rise > t.SAG_LEAST_RATED_SHARE * float(circuits.rated_amps[circuits.supply_of[d]]):
            return None if self._is_by_hand(before, near, rise) else Cause.SUPPLY_SAG
        if not bool((live & ~near).any()) and int((live & near).sum()) > 1 and rise < 0 and self._is_dip(before, live):
            return Cause.MAINS_DIP
        return None

    def _is_dip(self, before: _Before, live: Bools) -> bool:
        """All that is live fell alike, by a dip's depth, and sharply."""
        share = before.volts_low / np.maximum(before.volts, 1e-6)
        own = float(share[self.district])
        alike = bool((np.abs(share[live] - own) < 0.35 * (1 - own) + 0.02).all())
        return alike and own < 1 - t.SAG_DIP_DEPTH and self._fell_sharply(before)

    def _is_by_hand(self, before: _Before, near: "np.ndarray[tuple[int], np.dtype[np.bool_]]", rise: float) -> bool:
        """The amps rose where the volts rose: somebody turned a throttle up, or switched a neighbour on again."""
        more = np.where(near, before.amps_low - before.amps, 0.0)
        raised = before.volts_low > before.volts + 0.3 * (before.volts[self.district] - before.volts_low[self.district])
        return bool(np.nansum(more[raised]) > t.SAG_BY_HAND_SHARE * rise)

    def _is_driven_over(self, before: _Before) -> bool:
        """A train came from a district of another supply, which lost what this supply's gained."""
        tick, circuits = before.tick, self.circuits
        gained = self.stream.medians("amps", tick + 4, tick + 12) - before.amps
        lost = self.stream.medians("amps", tick - 26, tick - 16) - self.stream.medians("amps", tick + 4, tick + 12)
        near = circuits.supply_of == circuits.supply_of[self.district]
        taken = np.where(circuits.is_track & ~near, lost, 0.0)
        return bool(np.nanmax(taken, initial=0.0) > 0.4 * float(np.nanmax(np.where(near, gained, 0.0))))

    def _is_short(self, before: _Before) -> bool:
        """This district's own short: the amps leapt while the volts were down, not when they came back."""
        cut, d = self.stream.cut(self.district, before.tick - t.SAG_EDGE_TICKS, before.tick + 4), self.district
        recent = self.ticks.usual_amps[self.ticks.rows(before.tick - t.SAG_RECENT_TICKS, before.tick + 1), d]
        amps = float(np.nanmin(recent, initial=before.amps[d]))  # a limiter that folds back comes into a short that began before
        rated = float(self.circuits.rated_amps[self.circuits.supply_of[d]])
        volts = float(before.volts[d])
        shorted = collapsed(cut.amps, cut.volts, amps, volts) | beyond(cut.amps, cut.volts, rated, volts)
        return bool((shorted | folded(cut.amps, cut.volts, amps, volts)).any())

    def _fell_sharply(self, before: _Before) -> bool:
        cut = self.stream.cut(self.district, before.tick - 3, before.tick + 3)
        fall = float(before.volts_low[self.district] - before.volts[self.district])
        steps = cut.volts[2:] - cut.volts[:-2]
        return bool(len(steps)) and float(steps.min()) < 0.4 * fall

    def _over(self, before: _Before, until: int | None) -> Generator[int, None, int | None]:
        """First tick in which the volts are half way back, or gone altogether."""
        d = self.district
        middle = before.volts[d] - t.SAG_BACK_SHARE * (before.volts[d] - before.volts_low[d])
        off = self.circuits.off_volts[d]
        return (
            yield from self.find(
                lambda rows: (self.ticks.volts[rows, d] > middle) | (self.ticks.volts_low[rows, d] < off), before.tick + 1, until
            )
        )

    def _is_lasting(self, before: _Before, over: int | None) -> bool:
        """Still down when a surge would have faded; or, if it was short, down until it ended at once."""
        d, tick = self.district, before.tick
        end = tick + t.SAG_STEADY_TICKS if over is None else over
        if end - tick < 2:
            return False
        late = self.stream.median("volts", d, max(tick + 1, end - 5), end)
        early = self.stream.median("volts", d, tick + 1, min(tick + 4, end))
        steady = late < before.volts[d] * (1 - t.SAG_DEPTH) and early < before.volts[d] * (1 - t.SAG_DEPTH)
        fades = (before.volts[d] - late) < 0.72 * (before.volts[d] - early)
        return steady and (over is None or not fades)

    def _is_shallow(self, before: _Before) -> bool:
        d = self.district
        return bool(before.volts_low[d] > (1 - t.SAG_DRIVEN_DEPTH) * before.volts[d])

    def _tell_begin(self, before: _Before, cause: Cause) -> Occurrence:
        circuits, d = self.circuits, self.district
        cut = self.stream.cut(d, before.tick - 2, before.tick + 3)
        middle = 0.5 * (before.volts[d] + before.volts_low[d])
        span = crossing_s(cut, cut.volts < middle)
        near = circuits.neighbours(d)
        depth = 1 - before.volts_low[d] / before.volts[d]
        event = Occurrence(district=d, cause=cause, start_s=span[0] if span else before.tick * TICK_S)
        event.evidence = {
            "volts_before": float(before.volts[d]),
            "volts_lowest": float(before.volts_low[d]),
            "depth_share": float(depth),
            "supply_amps_before": float(np.nansum(before.amps[near])),
            "supply_amps_during": float(np.nansum(before.amps_low[near])),
        }
        if cause is Cause.MAINS_DIP:
            event.confidence = 0.97 if depth > 0.12 else 0.85
            if not len(circuits.strangers(d)):
                event.confidence = 0.6
        else:
            event.confidence = 0.9 if depth > 0.1 else 0.85
            self.tell(event)
        return event

    def _tell_end(self, event: Occurrence, before: _Before, over: int) -> None:
        d = self.district
        cut = self.stream.cut(d, over - 3, over + 1)
        middle = 0.5 * (before.volts[d] + before.volts_low[d])
        span = crossing_s(cut, cut.volts < middle)
        event.end_s = max(event.start_s, span[1] if span else over * TICK_S)
        event.evidence["lasted_s"] = event.end_s - event.start_s
        self.tell(event)


def _fell(volts: Floats, usual: Floats, wavering: Floats) -> Bools:
    return np.asarray(volts < usual - np.maximum((1 - t.SAG_FOUND_SHARE) * usual, wavering))


def _all_dip(stream: Stream, rows: slice) -> Bools:
    """Ticks in which the volts of every live district dipped, those of several supplies among them: shape (n,)."""
    ticks, circuits = stream.ticks, stream.circuits
    live = ticks.usual_volts[rows] > circuits.off_volts
    dipped = ticks.volts_low[rows] < (1 - t.SAG_DIP_DEPTH) * ticks.usual_volts[rows]
    supplies = np.array([[(live[:, circuits.supply_of == s]).any(axis=1)] for s in range(len(circuits.supplies))])
    return np.asarray((dipped | ~live).all(axis=1) & (supplies.sum(axis=0)[0] > 1))
