"""Offsets: DC on AC track volts, as sounds a whistle or a bell."""

import numpy as np

from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.watcher import Bools, Stream, Waiting, Watcher, Watching
from monitor.facts import thresholds as t
from monitor.facts.medians import median
from monitor.facts.ticks import TICK_S, Ticks
from monitor.values import Cause
from monitor.values.arrays import Floats


class Offsets(Watcher):
    """Watches an AC district for a DC offset that is held for tenths of a second."""

    @staticmethod
    def onsets(stream: Stream, rows: slice) -> Bools:
        """There is an offset in this tick and the one before, taken together."""
        return np.asarray(np.abs(_of_two(stream.ticks, rows)) > t.SIGNAL_LEAST_VOLTS)

    def watch(self, tick: int) -> Watching:
        """Watch for ever."""
        d = self.district
        while True:
            found = yield from self.onset(tick)
            usual = self._usual(found)
            yield found + t.SIGNAL_HELD_TICKS + 1
            held = self.ticks.offset_volts[self.ticks.rows(found + 1, found + 1 + t.SIGNAL_HELD_TICKS), d] - usual
            if not (bool(self.ticks.calm[self.ticks.rows(found, found + 1), d].all()) and self._is_held(held, found)):
                tick = found + 1
                continue
            sign, level = float(np.sign(held[0])), median(np.abs(held))
            over = yield from self._over(found, usual, sign * level)
            if over is None:
                return
            yield over + 2
            self._tell_signal(found, over, usual, sign * level)
            tick = over + 2

    def _over(self, found: int, usual: float, level: float) -> Waiting:
        """First tick in which less than half of the offset is left."""

        def mask(rows: slice) -> Bools:
            offset = _of_two(self.ticks, rows)[:, self.district]
            return np.asarray(~((offset - usual) * np.sign(level) > 0.5 * abs(level)))

        return (yield from self.find(mask, found + 1))

    def _usual(self, tick: int) -> float:
        """The offset that this district always shows (a converter's zero is never quite right)."""
        usual = self.stream.median("offset_volts", self.district, tick - t.SIGNAL_USUAL_TICKS, tick - 2)
        return usual if abs(usual) < t.SIGNAL_LEAST_VOLTS else 0.0

    def _is_held(self, held: "np.ndarray[tuple[int], np.dtype[np.float64]]", tick: int) -> bool:
        volts = self.ticks.volts[self.ticks.rows(tick, tick + 1 + t.SIGNAL_HELD_TICKS), self.district]
        live = bool((volts > 2 * self.circuits.off_volts[self.district]).all())
        return (
            live
            and len(held) == t.SIGNAL_HELD_TICKS
            and bool(np.abs(held.mean()) > t.SIGNAL_LEAST_VOLTS)
            and abs(np.sign(held).sum()) == len(held)
        )

    def _tell_signal(self, found: int, over: int, usual: float, level: float) -> None:
        d = self.district
        event = Occurrence(district=d, cause=Cause.DC_SIGNAL, start_s=found * TICK_S, end_s=(over + 1) * TICK_S)
        cut = self.stream.cut(d, found - 2, over + 2)
        on = np.flatnonzero((cut.offset_volts - usual) * np.sign(level) > 0.5 * abs(level))
        if len(on):
            # Half the level is reached when half the window has it: the middle of the window is the edge.
            event.start_s = float(cut.start_s[on[0]] + cut.end_s[on[0]]) / 2
            event.end_s = float(cut.start_s[on[-1]] + cut.end_s[on[-1]]) / 2
        event.evidence = {
            "offset_volts": level,
            "volts_before": self.stream.median("volts", d, found - 6, found - 1),
            "volts_during": self.stream.median("volts", d, found + 1, over),
        }
        event.confidence = 0.97 if abs(level) > 2 * t.SIGNAL_LEAST_VOLTS else 0.8
        self.tell(event)


def _of_two(ticks: Ticks, rows: slice) -> Floats:
    """Mean of each tick and the one before, shape (n, d): an odd number of half cycles of a phase-cut wave has a mean of its own."""
    offset = ticks.offset_volts[max(0, rows.start - 1) : rows.stop]
    both = (offset[1:] + offset[:-1]) / 2
    return both if rows.start else np.concatenate([offset[:1], both])
