"""Shorts: amps leap to what the supply can give, volts collapse."""

import numpy as np

from monitor.diagnosis.edges import SHARP_SHARE, is_fine, sharpest_share
from monitor.diagnosis.medians import median
from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.rows import Cut
from monitor.diagnosis.watcher import Bools, Stream, Watcher, Watching
from monitor.values import Cause

FADE_S = 0.15
FADED_SHARE = 0.93
EARLY_S = 0.1
LOST_SHARE = 0.55  # of the volts: below, more is lost in the supply than is left whatever the amps do
COARSE_SHARE = 0.6  # of readings that a short fills in part only; a heavy load switched on leaves more
LEAP = 2.5  # times the amps before
RATED_SHARE = 1.15  # of the supply's rated amps
FELL_SHARE = 0.8  # of the volts before: worth a look
COLLAPSED_SHARE = 0.68  # of the volts before; lamps and trains that start leave three quarters
OPEN_TICKS = 5
HELD_S = 0.2  # metal that scrapes bounces; a short that is back within this is the same


class Shorts(Watcher):
    """Watches a district for the leap of amps with which volts collapse."""

    @staticmethod
    def onsets(stream: Stream, rows: slice) -> Bools:
        """The amps leapt and the volts fell."""
        ticks, circuits = stream.ticks, stream.circuits
        rated = circuits.rated_amps[circuits.supply_of]
        leapt = ticks.amps_high[rows] > np.maximum(LEAP * ticks.usual_amps[rows], RATED_SHARE * rated)
        return np.asarray(leapt & (ticks.volts_low[rows] < FELL_SHARE * ticks.usual_volts[rows]))

    def watch(self, tick: int) -> Watching:
        """Watch for ever."""
        while True:
            found = yield from self.onset(tick)
            yield found + 4
            usual_amps, usual_volts = self._usual(found)
            cut = self.stream.cut(self.district, found - 2, found + 4)
            shorted = self._shorted(cut, usual_amps, usual_volts)
            if not shorted.any() or self._fades(cut, shorted, usual_volts):
                tick = found + 1
                continue
            event = self._event(cut, shorted, usual_amps, usual_volts)
            last = found + 4
            while not event.end_s:
                if last == found + OPEN_TICKS:
                    self.tell(event)
                yield last + 1
                last += 1
                self._end(event, self.stream.cut(self.district, last - 5, last), usual_amps)
            self.tell(event)
            tick = last + 1

    def _usual(self, tick: int) -> tuple[float, float]:
        row = self.ticks.rows(tick, tick + 1)
        return float(self.ticks.usual_amps[row, self.district][0]), float(self.ticks.usual_volts[row, self.district][0])

    def _shorted(self, cut: Cut, amps: float, volts: float) -> "np.ndarray[tuple[int], np.dtype[np.bool_]]":
        """Readings with leapt amps, if the volts collapsed with them."""
        peak = float(np.max(cut.amps, initial=0.0))
        leapt = cut.amps > max(LEAP * amps, 0.3 * peak)
        lowest = float(np.min(cut.volts[leapt], initial=np.inf))
        if sharpest_share(cut.end_s, cut.amps, peak - amps) < SHARP_SHARE:
            return leapt & False  # a short is there within a cycle; a heavy train comes over wheel by wheel
        return leapt & (lowest < (COLLAPSED_SHARE if is_fine(cut) else COARSE_SHARE) * volts)

    def _fades(self, cut: Cut, shorted: "np.ndarray[tuple[int], np.dtype[np.bool_]]", volts: float) -> bool:
        """Something heavy that starts: volts not quite lost, and amps that fall within tenths of a second."""
        peak_s = float(cut.end_s[int(np.argmax(cut.amps))])
        early = shorted & (cut.end_s < peak_s + EARLY_S)
        late = shorted & (cut.end_s > peak_s + FADE_S)
        if not late.any() or float(cut.volts[shorted].min()) < LOST_SHARE * volts:
            return False
        return median(cut.amps[late]) < FADED_SHARE * median(cut.amps[early])

    def _event(self, cut: Cut, shorted: "np.ndarray[tuple[int], np.dtype[np.bool_]]", amps: float, volts: float) -> Occurrence:
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
        shorted = np.flatnonzero(~(cut.amps < max(LEAP * amps, 0.3 * peak)) & (cut.end_s > event.start_s))
        last_s = event.start_s if not len(shorted) else float(cut.end_s[shorted[-1]])
        if len(cut.end_s) and cut.end_s[-1] > last_s + HELD_S:
            # The window that follows the last one is the first without.
            after = np.flatnonzero(cut.end_s > last_s)
            event.end_s = max(event.start_s, float(cut.start_s[after[0]]))
            event.evidence["lasted_s"] = event.end_s - event.start_s
