"""Watchers: each looks for one kind of occurrence in one district, tick by tick, waiting for what it needs to decide.

Where something of a kind may begin is looked for in all districts at once (`Lookout`); then each watcher goes on by itself.
"""

import itertools
from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable, Generator, Iterator

import numpy as np
from numpy.typing import NDArray

from monitor.diagnosis.occurrences import Occurrence
from monitor.facts.circuits import Circuits
from monitor.facts.facts import Facts

KEPT_SAGS = 60

Bools = NDArray[np.bool_]
Watching = Generator[int | None, None, None]
Waiting = Generator[int, None, int | None]
Mask = Callable[[slice], Bools]


class Stream(Facts):
    """What watchers look at, and what they leave for each other."""

    def __init__(self, circuits: Circuits) -> None:
        super().__init__(circuits)
        self.flickers: list[tuple[float, int]] = []  # when, and in which district, lit cars lost contact for a moment
        self._whole_sags: list[list[tuple[int, Occurrence]]] = [[] for _ in circuits.districts]

    def note_sag(self, sag: Occurrence, tick: int) -> None:
        """A sag of the amps that was seen whole, with both its edges, as known by a tick: no section's again."""
        self._whole_sags[sag.district] = [*self._whole_sags[sag.district][-KEPT_SAGS:], (tick, sag)]

    def whole_sags(self, district: int, tick: int) -> list[Occurrence]:
        """Those noted by a tick."""
        return [sag for known, sag in self._whole_sags[district] if known <= tick]


class Watcher(ABC):
    """One kind of occurrence in one district.

    The watching is a generator that yields the number of the tick it needs next, or None for the next onset; it is resumed when
    that tick is complete. Its decisions look at ticks of fixed distance only, so they do not depend on when it was resumed.
    """

    def __init__(self, stream: Stream, district: int) -> None:
        self.stream = stream
        self.ticks = stream.ticks
        self.circuits = stream.circuits
        self.district = district
        self._told: list[Occurrence] = []
        self._onsets: deque[int] = deque()
        self._watching: Watching | None = None
        self._needs: int | None = None
        self._latest = -1

    @staticmethod
    @abstractmethod
    def onsets(stream: Stream, rows: slice) -> Bools:
        """Ticks in which an occurrence of this kind may begin, as far as they and earlier ones tell: shape (n, d)."""

    @abstractmethod
    def watch(self, tick: int) -> Watching:
        """Watch for ever from this tick on; yields what is needed next."""

    def advance(self, onsets: list[int]) -> list[Occurrence]:
        """Go on as far as the complete ticks allow; occurrences that began, changed or ended.

        Args:
            onsets: Those of this district among the ticks completed since the last call.
        """
        # Whoever waits for something to end passes the onsets by.
        while self._onsets and self._onsets[0] < self.ticks.base:
            self._onsets.popleft()
        self._onsets.extend(onsets)
        if self._watching is None:
            self._watching = self.watch(self.ticks.base)
            self._needs = next(self._watching)
        while self._onsets if self._needs is None else self._needs < self.ticks.end:
            if self._needs is not None:
                self.look_at(self._needs)
            self._needs = self._watching.send(None)
        told, self._told = self._told, []
        return told

    def look_at(self, tick: int) -> None:
        """Whatever is told from now on needed this tick; those that were waited for count by themselves."""
        self._latest = max(self._latest, tick)

    def tell(self, occurrence: Occurrence) -> None:
        """Say that this occurrence began, changed or ended, as known from the latest tick looked at."""
        occurrence.known_tick = self._latest
        if occurrence.first_tick < 0:
            occurrence.first_tick = self._latest
        if all(occurrence is not other for other in self._told):
            self._told.append(occurrence)

    def onset(self, tick: int) -> Generator[int | None, None, int]:
        """The first onset from this tick on, waiting for it."""
        while True:
            while self._onsets:
                found = self._onsets.popleft()
                if found >= tick:
                    self.look_at(found)
                    return found
            yield None

    def coming(self, until: int) -> Iterator[int]:
        """Onsets after the last one that was given, as far as they are known, before a tick; they will be given all the same."""
        return itertools.takewhile(lambda tick: tick < until, self._onsets)

    def find(self, mask: Mask, tick: int, until: int | None = None) -> Waiting:
        """The first tick from ``tick`` on where the mask is true, waiting for it; None once ``until`` is reached without."""
        while True:
            end = self.ticks.end if until is None else min(until, self.ticks.end)
            tick = max(tick, self.ticks.base)
            if tick < end:
                hits = mask(self.ticks.rows(tick, end))
                first = int(hits.argmax())
                if hits[first]:
                    self.look_at(tick + first)
                    return tick + first
                tick = end
            if until is not None and tick >= until:
                self.look_at(until - 1)
                return None
            yield tick


class Lookout:
    """The watchers of one kind.

    Args:
        kind: Their class.
        stream: What they look at.
        districts: Columns of the districts that are watched.
    """

    def __init__(self, kind: type[Watcher], stream: Stream, districts: list[int]) -> None:
        self._onsets = kind.onsets
        self._stream = stream
        self._watchers = [kind(stream, district) for district in districts]
        self._seen: int | None = None

    def advance(self) -> list[Occurrence]:
        """Go on as far as the complete ticks allow; occurrences that began, changed or ended, by district."""
        if not self._watchers:
            return []
        ticks = self._stream.ticks
        first = ticks.base if self._seen is None else self._seen
        self._seen = ticks.end
        onsets = self._onsets(self._stream, ticks.rows(first, ticks.end))
        here = np.any(onsets, axis=0)
        return [
            occurrence
            for watcher in self._watchers
            for occurrence in watcher.advance(
                (np.flatnonzero(onsets[:, watcher.district]) + first).tolist() if here[watcher.district] else []
            )
        ]
