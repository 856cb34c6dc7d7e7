"""Throttles: volts moved by hand on one output, the others unmoved, the amps following."""

from collections.abc import Generator

import numpy as np

from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.watcher import Bools, Stream, Watcher, Watching
from monitor.facts import thresholds as t
from monitor.facts.edges import is_fine, sharpest_share
from monitor.facts.medians import median
from monitor.facts.sliding import rows_before
from monitor.facts.ticks import TICK_S
from monitor.values import Cause
from monitor.values.arrays import Floats


class Throttles(Watcher):
    """Watches a district's volts for a move that its neighbours do not make."""

    def __init__(self, stream: Stream, district: int) -> None:
        super().__init__(stream, district)
        self._near = self.circuits.neighbours(district)
        self._on_others = self.circuits.output_of != self.circuits.output_of[district]

    @staticmethod
    def onsets(stream: Stream, rows: slice) -> Bools:
        """The volts are not what they were a second or two ago, by more than they wavered then."""
        ticks = stream.ticks
        early = rows_before(ticks.usual_volts, rows, 1, t.THROTTLE_APART_TICKS)
        wavering = rows_before(ticks.volts_spread, rows, 1, t.THROTTLE_APART_TICKS)
        moved = np.abs(ticks.usual_volts[rows] - early) > np.maximum(t.THROTTLE_LEAST_SHARE * early, 1.2 * wavering)
        return np.asarray(moved & ticks.calm[rows])

    def watch(self, tick: int) -> Watching:
        """Watch for ever."""
        refused = None
        while True:
            found = yield from self.onset(tick)
            yield found + 4
            move = yield from self._extent(found)
            if move is None or move == refused or not self._judge(*move):
                tick, refused = found + 2, move
            else:
                tick = move[1] + t.THROTTLE_APART_TICKS + 5  # the comparison still straddles this move for a while

    def _extent(self, found: int) -> Generator[int, None, tuple[int, int] | None]:
        """From the last still moment before to the first still moment after."""
        d, still = self.district, found
        wavering = float(
            self.ticks.volts_spread[self.ticks.rows(found - t.THROTTLE_APART_TICKS, found - t.THROTTLE_APART_TICKS + 1), d][0]
        )
        while still < found + t.THROTTLE_LONGEST_TICKS:
            yield still + 4
            volts = self.ticks.volts[self.ticks.rows(still, still + 4), d]
            highest = float(volts.max())
            if highest - float(volts.min()) <= max(t.THROTTLE_STILL_SHARE * highest, wavering):
                break
            still += 2
        rows = self.ticks.rows(found - 2 * t.THROTTLE_APART_TICKS, still)
        volts = self.ticks.volts[rows, d]
        if len(volts) < t.THROTTLE_APART_TICKS or not self.ticks.calm[rows, d][-t.THROTTLE_APART_TICKS :].all():
            return None
        level = self.stream.median("volts", d, still, still + 4)
        change = abs(level - median(volts[: t.THROTTLE_APART_TICKS // 2]))
        away = np.abs(level - volts)
        moving, unmoved = np.flatnonzero(away > 0.06 * change), np.flatnonzero(away > 0.94 * change)
        if not len(moving) or not len(unmoved):
            return None
        # What is far from where it ends is on the move as well.
        first = found - 2 * t.THROTTLE_APART_TICKS
        return first + int(unmoved[-1]), first + int(moving[-1]) + 1

    def _judge(self, start: int, end: int) -> bool:
        d, stream = self.district, self.stream
        before, after = self._beside("volts", start, end)
        share = np.where(before > self.circuits.off_volts, after, before) / np.maximum(before, 1e-6) - 1
        if (
            end - start < t.THROTTLE_QUICKEST_TICKS
            or not abs(share[d]) > t.THROTTLE_LEAST_SHARE
            or self._has_other_reason(share, start, end)
        ):
            return False
        cut = self.stream.cut(d, start - 1, end + 2)
        if is_fine(cut) and sharpest_share(cut.end_s, cut.volts, float(after[d] - before[d])) > t.THROTTLE_SHARPEST_SHARE:
            return False
        event = Occurrence(district=d, cause=Cause.THROTTLE, start_s=start * TICK_S, end_s=end * TICK_S)
        event.confidence = t.THROTTLE_CLEAR if abs(share[d]) > 2 * t.THROTTLE_LEAST_SHARE else t.THROTTLE_SLIGHT
        event.evidence = {
            "volts_before": float(before[d]),
            "volts_after": float(after[d]),
            "amps_before": stream.median("amps", d, start - 6, start),
            "amps_after": stream.median("amps", d, end + 1, end + 5),
        }
        self.tell(event)
        return True

    def _has_other_reason(self, share: Floats, start: int, end: int) -> bool:
        """A load, the mains, a DC signal."""
        circuits, d = self.circuits, self.district
        others = share[self._on_others & (share > -0.9)]
        if float(np.max(others / share[d], initial=0.0)) > t.THROTTLE_FOLLOW_SHARE:
            return True
        amps_before, amps_after = self._beside("amps", start, end)
        amps = amps_after - amps_before
        if float(np.nansum(amps[self._near])) * np.sign(share[d]) < -0.1 * circuits.rated_amps[circuits.supply_of[d]]:
            return True
        if float(amps[d]) * np.sign(share[d]) < -max(t.THROTTLE_AGAINST_SHARE, t.THROTTLE_AGAINST * abs(share[d])) * float(
            amps_before[d]
        ):
            return True
        offset_before, offset_after = self._beside("offset_volts", start, end)
        return bool(circuits.is_ac[d] and abs(offset_after[d] - offset_before[d]) > t.THROTTLE_LEAST_SIGNAL_VOLTS)

    def _beside(self, name: str, start: int, end: int) -> tuple[Floats, Floats]:
        """Medians of a tick figure just before and just after a move, of all districts."""
        return self.stream.medians(name, start - 6, start), self.stream.medians(name, end + 1, end + 5)
