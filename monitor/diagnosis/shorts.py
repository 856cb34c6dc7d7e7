"""Shorts: amps leap to what the supply can give, volts collapse."""

import numpy as np

from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.watcher import Bools, Stream, Watcher, Watching
from monitor.facts import thresholds as t
from monitor.facts.edges import is_fine, sharpest_share
from monitor.facts.medians import median
from monitor.facts.openings import zero_amps
from monitor.facts.rows import Cut
from monitor.facts.shorts import folded
from monitor.facts.sliding import rows_before, sliding
from monitor.values import Cause


class Shorts(Watcher):
    """Watches a district for the leap of amps with which volts collapse."""

    @staticmethod
    def onsets(stream: Stream, rows: slice) -> Bools:
        """The amps leapt and the volts fell."""
        ticks, circuits = stream.ticks, stream.circuits
        rated = circuits.rated_amps[circuits.supply_of]
        leapt = ticks.amps_high[rows] > np.maximum(t.SHORT_LEAP * ticks.usual_amps[rows], t.SHORT_RATED_SHARE * rated)
        volts = sliding(np.fmax, rows_before(ticks.usual_volts, rows, t.SHORT_RECENT_TICKS, 0), t.SHORT_RECENT_TICKS)
        draws = (ticks.usual_amps[rows] > zero_amps(circuits)) & (ticks.usual_volts[rows] > t.FEED_FELL_SHARE * volts)
        holds = folded(ticks.amps_low[rows], ticks.volts_low[rows], ticks.usual_amps[rows], volts) & draws
        return np.asarray(leapt & (ticks.volts_low[rows] < t.SHORT_WORTH_A_LOOK * volts) | holds)

    def watch(self, tick: int) -> Watching:
        """Watch for ever."""
        while True:
            found = yield from self.onset(tick)
            yield found + 4
            usual_amps, usual_volts = self._usual(found)
            cut = self.stream.cut(self.district, found - 2, found + 4)
            shorted = self._shorted(cut, usual_amps, usual_volts)
            if not shorted.any():
                tick = found + 1
                continue
            if self._fades(cut, shorted, usual_volts):
                tick = found + 4  # its tail alone would not show that it fades
                continue
            event = self._event(cut, shorted, usual_amps, usual_volts)
            last = found + 4
            while not event.end_s:
                if last == found + t.SHORT_OPEN_TICKS:
                    self.tell(event)
                yield last + 1
                last += 1
                self._end(event, self.stream.cut(self.district, last - 5, last), usual_amps)
            self.tell(event)
            tick = last + 1

    def _usual(self, tick: int) -> tuple[float, float]:
        """Amps just before, and the volts that there were last: a short may wait for them to come back."""
        recent = self.ticks.usual_volts[self.ticks.rows(tick - t.SHORT_RECENT_TICKS + 1, tick + 1), self.district]
        return float(self.ticks.usual_amps[self.ticks.rows(tick, tick + 1), self.district][0]), float(np.fmax.reduce(recent))

    def _shorted(self, cut: Cut, amps: float, volts: float) -> Bools:
        """Readings with leapt amps, if the volts collapsed with them or the amps are beyond what any load takes."""
        peak = float(np.max(cut.amps, initial=0.0))
        leapt = (cut.amps > max(t.SHORT_LEAP * amps, 0.3 * peak)) & ~self._coming_on(cut, volts)
        if not leapt.any():
            held = folded(cut.amps, cut.volts, amps, volts)
            at_once = sharpest_share(cut.end_s, cut.volts, -volts) > t.EDGE_SHARP_SHARE
            return held & (is_fine(cut) and at_once and bool(held[-t.SHORT_FOLDED_ROWS :].all()))
        whole = leapt & ~self._going_off(cut, volts)
        lowest = float(np.min(cut.volts[whole if np.count_nonzero(whole) >= t.SHORT_WHOLE_ROWS else leapt]))
        sharp = sharpest_share(cut.end_s, cut.amps, peak - amps)
        if sharp < (t.SHORT_SCRAPES_SHARE if lowest < t.SHORT_LOST_SHARE_SCRAPING * volts else t.EDGE_SHARP_SHARE):
            return leapt & False  # a short is there within some cycles; a heavy train comes over wheel by wheel
        beyond = float(np.max(cut.amps[leapt])) > t.SHORT_BEYOND * float(
            self.circuits.rated_amps[self.circuits.supply_of[self.district]]
        )
        share = t.SHORT_BEYOND_SHARE if beyond else t.SHORT_COLLAPSED_SHARE if is_fine(cut) else t.SHORT_COARSE_SHARE
        return leapt & (lowest < share * volts)

    @staticmethod
    def _dead(cut: Cut, volts: float) -> Bools:
        """Readings of an open feed; something may leak past a hand's switch."""
        return np.asarray((cut.volts < t.FEED_DEAD_SHARE * volts) & (cut.amps < 0.3 * np.max(cut.amps, initial=0.0)))

    def _coming_on(self, cut: Cut, volts: float) -> Bools:
        """Windows that reach into the first cycle and a half after the volts came: inrush, and no whole cycle of either."""
        dead = self._dead(cut, volts)
        row = np.arange(len(dead))
        return np.asarray(row - np.maximum.accumulate(np.where(dead, row, -t.SHORT_ASTRIDE_ROWS - 1)) <= t.SHORT_ASTRIDE_ROWS)

    def _going_off(self, cut: Cut, volts: float) -> Bools:
        """Windows that reach over the moment at which the volts went."""
        dead = np.concatenate([self._dead(cut, volts), np.zeros(t.SHORT_ASTRIDE_EDGE_ROWS, dtype=np.bool_)])
        return np.asarray(np.logical_or.reduce([dead[k : k + len(cut.volts)] for k in range(1, t.SHORT_ASTRIDE_EDGE_ROWS + 1)]))

    def _fades(self, cut: Cut, shorted: Bools, volts: float) -> bool:
        """Something heavy that starts: amps that fall within tenths of a second, and volts not quite lost.

        What began with the volts themselves leaves more of them: windings, filaments and motors at rest.
        """
        lowest = float(cut.volts[shorted].min())
        if bool(self._dead(cut, volts)[: int(np.argmax(shorted))].any()):
            # A contact that chatters lets part of the volts and part of an inrush through: their ratio tells.
            rated_ohms = float(
                self.circuits.max_volts[self.district] / self.circuits.rated_amps[self.circuits.supply_of[self.district]]
            )
            if (
                lowest > t.SHORT_LOST_SHARE * volts
                or float(np.min(cut.volts[shorted] / cut.amps[shorted])) > t.SHORT_OHMS_SHARE * rated_ohms
            ):
                return True
        elif lowest < t.SHORT_LOST_SHARE * volts:
            return False
        peak_s = float(cut.end_s[int(np.argmax(np.where(shorted, cut.amps, 0.0)))])
        early, late = shorted & (cut.end_s < peak_s + t.SHORT_EARLY_S), shorted & (cut.end_s > peak_s + t.SHORT_FADE_S)
        return bool(late.any()) and median(cut.amps[late]) < t.SHORT_FADED_SHARE * median(cut.amps[early])

    def _event(self, cut: Cut, shorted: Bools, amps: float, volts: float) -> Occurrence:
        first = int(np.argmax(shorted))
        window_s = float(cut.end_s[first] - cut.start_s[first])
        peak = float(cut.amps.max())
        part = min(1.0, float(cut.amps[first] / peak) ** 2)
        event = Occurrence(district=self.district, cause=Cause.SHORT, start_s=float(cut.end_s[first]) - part * window_s)
        lowest = float(cut.volts[shorted].min())
        event.confidence = 0.97 if lowest < 0.65 * volts else 0.85
        event.evidence = {"amps_before": amps, "amps_highest": peak, "volts_before": volts, "volts_lowest": lowest}
        self._end(event, cut, amps)
        return event

    def _end(self, event: Occurrence, cut: Cut, amps: float) -> None:
        """Over when readings are no longer shorted for a while: the amps are back, or the protection opened."""
        peak = event.evidence["amps_highest"]
        holds = folded(cut.amps, cut.volts, amps, event.evidence["volts_before"]) & (peak < t.SHORT_LEAP * amps)
        much = ~(cut.amps < max(t.SHORT_LEAP * amps, 0.3 * peak))
        shorted = np.flatnonzero((much | holds) & (cut.end_s > event.start_s))
        last_s = event.start_s if not len(shorted) else float(cut.end_s[shorted[-1]])
        if len(cut.end_s) and cut.end_s[-1] > last_s + t.SHORT_HELD_S:
            # The window that follows the last one is the first without.
            after = np.flatnonzero(cut.end_s > last_s)
            event.end_s = max(event.start_s, float(cut.start_s[after[0]]))
            event.evidence["lasted_s"] = event.end_s - event.start_s
