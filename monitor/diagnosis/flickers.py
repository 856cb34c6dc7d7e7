"""Flickers: the lights of lit cars that lose contact for a moment. No fault, and no event each: how many there are in a minute."""

import numpy as np

from monitor.diagnosis.watcher import Stream
from monitor.facts import thresholds as t
from monitor.facts.ticks import TICK_S
from monitor.values import SlowFigure


class Flickers:
    """Counts what the watchers noted, minute by minute of the stream."""

    def __init__(self, stream: Stream) -> None:
        self._stream = stream
        self._minute = 0

    def advance(self) -> list[SlowFigure]:
        """Districts in which lights flickered in the minutes that are over."""
        found: list[SlowFigure] = []
        while self._stream.ticks.real_end >= (self._minute + 1) * t.FLICKER_MINUTE_TICKS + t.FLICKER_DECIDED_TICKS:
            self._minute += 1
            end_s = self._minute * t.FLICKER_MINUTE_TICKS * TICK_S
            here = [district for at_s, district in self._stream.flickers if at_s < end_s]
            self._stream.flickers[:] = [flicker for flicker in self._stream.flickers if flicker[0] >= end_s]
            counts = np.bincount(np.array(here, dtype=np.intp), minlength=len(self._stream.circuits))
            found += [self._figure(int(d), int(counts[d]), end_s) for d in np.flatnonzero(counts >= t.FLICKER_LEAST_A_MINUTE)]
        return found

    def _figure(self, district: int, count: int, at_s: float) -> SlowFigure:
        name = self._stream.circuits.districts[district]
        return SlowFigure(kind="flickers", name=name, value=float(count), reference=None, spread=0.0, count=count, at_s=at_s)
