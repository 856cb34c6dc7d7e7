"""Sight: which causes readings show that come so far apart. What cannot be seen in them is not told."""

import math
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from monitor.diagnosis.occurrences import UNSEEN, Occurrence
from monitor.diagnosis.watcher import Stream
from monitor.facts.medians import median
from monitor.facts.ticks import TICK_S
from monitor.values import Cause

SHOWN_UP_TO_S: Mapping[Cause, float] = MappingProxyType(
    {
        Cause.DC_SIGNAL: 0.06,  # lines have no DC part
        Cause.LOST_CONTACT: 0.13,  # it lasts 0.03 to 0.5 s
        Cause.SHORT: 0.13,  # a wheel bridges a turnout for 0.01 to 0.2 s, and a quick breaker ends a short sooner
        Cause.WEAK_JOINT: 0.13,  # it lasts half a second, and its edges tell it from trains that drive over
        Cause.BINDING: 0.13,  # its rise within half a second tells it from a train that arrives
        Cause.FEED_LOST: 0.13,  # its ragged volts tell it from a hand's break, and from a throttle slammed shut
        Cause.PROTECTION_OPEN: 0.3,
        Cause.SUPPLY_SAG: 0.3,  # of readings two a second, a hand's break looks like one
        Cause.MAINS_DIP: math.inf,
        Cause.DIRECTION_BREAK: math.inf,
        Cause.THROTTLE: math.inf,
    }
)
"""Longest time between readings at which a cause was told right in the rehearsal, sent as lines of 10, 5 and 2 readings a second."""
COARSE_S = 0.13
LONGEST_BREAK_S = 3.0  # a hand breaks the volts for no longer; common practice, no published source
LOOKED_BACK_TICKS = 50


def causes_shown(between_readings_s: float) -> tuple[Cause, ...]:
    """The causes that readings so far apart can show, in the order of `Cause`."""
    return tuple(cause for cause in Cause if between_readings_s <= SHOWN_UP_TO_S[cause])


class Sight:
    """Lets through what the readings can show.

    From coarse readings an opening of the protection looks like a hand's break until it has lasted longer than any hand holds it.
    """

    def __init__(self, stream: Stream) -> None:
        self._stream = stream
        self._waiting: list[Occurrence] = []

    def admitted(self, told: list[Occurrence]) -> list[Occurrence]:
        """Of what watchers told, and of what waited, what may be said by now."""
        waited = [occurrence for occurrence in self._waiting if all(occurrence is not other for other in told)]
        self._waiting = []
        return [
            occurrence for occurrence in (*told, *waited) if occurrence.id or self._admits(occurrence) if occurrence.id != UNSEEN
        ]

    def _admits(self, occurrence: Occurrence) -> bool:
        apart_s = self._apart_s(occurrence)
        sure_s = occurrence.start_s + (
            LONGEST_BREAK_S if occurrence.cause is Cause.PROTECTION_OPEN and apart_s > COARSE_S else 0.0
        )
        ended_before = occurrence.end_s is not None and occurrence.end_s < sure_s
        if apart_s > SHOWN_UP_TO_S[occurrence.cause] or ended_before:
            occurrence.id = UNSEEN
            return False
        if self._stream.ticks.real_end * TICK_S <= sure_s:
            self._waiting.append(occurrence)
            return False
        occurrence.first_tick = max(occurrence.first_tick, math.ceil(sure_s / TICK_S))
        return True

    def _apart_s(self, occurrence: Occurrence) -> float:
        """Typical time between the readings of the last seconds."""
        tick = occurrence.first_tick
        ends_s = self._stream.cut(occurrence.district, tick - LOOKED_BACK_TICKS, tick).end_s
        return median(np.diff(ends_s)) if len(ends_s) > 1 else 0.0
