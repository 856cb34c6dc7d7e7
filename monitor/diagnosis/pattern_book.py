"""The pattern book: keeps what each district did, and asks now and then what its events have in common."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from monitor.diagnosis.circuits import Circuits
from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.places import LEAST_EVENTS, History, patterns, spot
from monitor.diagnosis.presence import train_present
from monitor.diagnosis.ticks import TICK_S, Ticks
from monitor.layout import Layout
from monitor.values import Cause, Pattern

Bools = NDArray[np.bool_]

EVERY_TICKS = 100
KEPT_EVENTS = 400
PATTERN_CAUSES = (Cause.LOST_CONTACT, Cause.WEAK_JOINT)
DISTURBING = (
    Cause.LOST_CONTACT,
    Cause.BINDING,
    Cause.SHORT,
    Cause.SUPPLY_SAG,
    Cause.MAINS_DIP,
    Cause.FEED_LOST,
    Cause.PROTECTION_OPEN,
)
AROUND_S = 0.3


class PatternBook:
    """Events of all districts, and the patterns found in them so far."""

    def __init__(self, layout: Layout, circuits: Circuits, ticks: Ticks) -> None:
        self._circuits = circuits
        self._ticks = ticks
        self._laps_s = [district.lap_s for district in layout.district]
        self._occurrences: list[list[Occurrence]] = [[] for _ in circuits.districts]
        self._is_due = False
        self._next_tick = 0
        self._said: list[Pattern] = []

    def note(self, occurrence: Occurrence) -> None:
        """An event was told, perhaps not for the first time."""
        kept = self._occurrences[occurrence.district]
        if all(occurrence is not other for other in kept[-8:]):
            kept.append(occurrence)
            del kept[:-KEPT_EVENTS]
        self._is_due = self._is_due or occurrence.cause in PATTERN_CAUSES

    def patterns(self, *, at_end: bool = False) -> list[Pattern]:
        """The patterns as they now stand, where they changed; looked for every ten seconds and at the end."""
        if not at_end and not (self._is_due and self._ticks.end >= self._next_tick):
            return []
        self._next_tick = self._ticks.end + EVERY_TICKS
        self._is_due = False
        if max((len(self._chosen(d)) for d in range(len(self._circuits))), default=0) < LEAST_EVENTS // 2:
            return []
        found = patterns([self._history(d) for d in np.flatnonzero(self._circuits.is_track).tolist()])
        changed = [pattern for pattern in found if pattern not in self._said]
        self._said = found
        return changed

    def _chosen(self, district: int) -> list[Occurrence]:
        return sorted((o for o in self._occurrences[district] if o.cause in PATTERN_CAUSES), key=lambda o: o.start_s)

    def _history(self, district: int) -> History:
        """All of a district's events; or those of one cause alone, where these fall at one spot and the others hide it."""
        ticks = self._ticks
        rows = ticks.rows(ticks.base, ticks.real_end)
        chosen = [o for o in self._chosen(district) if o.start_s >= ticks.base * TICK_S]
        history = History(
            district=self._circuits.districts[district],
            events_s=np.array([o.start_s for o in chosen]),
            start_s=(ticks.base + 0.5) * TICK_S,
            volts=ticks.volts[rows, district],
            amps=ticks.amps[rows, district],
            live=ticks.calm[rows, district],
            disturbed=self._during(district, DISTURBING),
            moved=self._during(district, (Cause.THROTTLE,)),
            lap_s=self._laps_s[district],
        )
        for cause in PATTERN_CAUSES:
            alone = replace(history, events_s=np.array([o.start_s for o in chosen if o.cause is cause]))
            if (
                LEAST_EVENTS <= len(alone.events_s) < len(chosen)
                and spot(alone, train_present(alone.amps, alone.live)[0]).is_fixed
            ):
                return alone
        return history

    def _during(self, district: int, causes: tuple[Cause, ...]) -> Bools:
        """Ticks at which an event of these causes is going on."""
        ticks = self._ticks
        during = np.zeros(ticks.real_end - ticks.base, dtype=np.bool_)
        for occurrence in self._occurrences[district]:
            end_s = ticks.real_end * TICK_S if occurrence.end_s is None else occurrence.end_s
            if occurrence.cause in causes and end_s + AROUND_S >= ticks.base * TICK_S:
                first = int((occurrence.start_s - AROUND_S) / TICK_S) - ticks.base
                during[max(0, first) : max(0, int((end_s + AROUND_S) / TICK_S) + 1 - ticks.base)] = True
        return during
