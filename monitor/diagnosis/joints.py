"""Joints: the same partial sag lap after lap is what makes a weak joint sure.

Sags as deep and as long as each other that come again after the same way are one joint's; hills, lit cars and trains that meet
make such sags too, but not lap after lap.
"""

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from monitor.diagnosis.occurrences import Occurrence
from monitor.facts import thresholds as t
from monitor.facts.ticks import TICK_S, Ticks


class Joints:
    """The last sags of one district that may be a joint's."""

    def __init__(self, ticks: Ticks, district: int) -> None:
        self._ticks = ticks
        self._district = district
        self._last: list[Occurrence] = []

    def note(self, event: Occurrence, others: Sequence[Occurrence] = ()) -> list[Occurrence]:
        """Those of which something is known by this event: itself, and earlier ones like it that became surer.

        Args:
            event: The latest.
            others: Sags that another watcher found: they make this one surer, and it speaks for them itself.

        """
        recurs = self.recurs(event, others)
        alike = [other for other in self._last if _are_alike(other, event)]
        self._last = [*self._last, event][-t.JOINT_REMEMBERED :]
        event.confidence = t.JOINT_RECURS if recurs else t.JOINT_SINGLE
        surer = [other for other in alike if recurs and other.confidence < t.JOINT_RECURS]
        for other in surer:
            other.confidence = t.JOINT_RECURS
        return [event, *surer]

    def recurs(self, event: Occurrence, others: Sequence[Occurrence] = ()) -> bool:
        """Whether two sags like it went before, a lap apart each: the same joint's, whatever a third shows by itself."""
        known = sorted(
            (o for o in (*self._last, *others[-t.JOINT_REMEMBERED :]) if _are_alike(o, event)), key=lambda o: -o.start_s
        )
        return any(self._recur(first, second, event) for second, first in combinations(known, 2))

    def _recur(self, first: Occurrence, second: Occurrence, third: Occurrence) -> bool:
        """Whether the ways between them are as laps are: one as long as the other, or twice as long where one went unseen."""
        if max(second.start_s - first.start_s, third.start_s - second.start_s) > t.JOINT_LONGEST_TICKS * TICK_S:
            return False
        ratio = self._way(first, second) / max(self._way(second, third), 1e-9)
        return any(abs(ratio / laps - 1) < t.JOINT_WAY_SHARE for laps in t.JOINT_LAPS)

    def _way(self, first: Occurrence, second: Occurrence) -> float:
        """Volts times seconds from one to the other: a train's way at any throttle, but for a factor."""
        rows = self._ticks.rows(int(first.start_s / TICK_S), int(second.start_s / TICK_S))
        return float(np.nansum(self._ticks.volts[rows, self._district]))


def _are_alike(one: Occurrence, other: Occurrence) -> bool:
    longer, shorter = max(_lasted_s(one), _lasted_s(other)), min(_lasted_s(one), _lasted_s(other))
    return abs(_left(one) - _left(other)) < t.JOINT_ALIKE_SHARE and longer < t.JOINT_LONGER * shorter


def _left(event: Occurrence) -> float:
    return event.evidence["amps_lowest"] / event.evidence["amps_before"]


def _lasted_s(event: Occurrence) -> float:
    return event.evidence["lasted_s"]
