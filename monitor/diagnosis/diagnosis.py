"""The diagnosis: finds events, names their causes, and looks for patterns."""

import itertools
import math

import numpy as np

from monitor.diagnosis.breaks import Breaks
from monitor.diagnosis.climbs import Climbs
from monitor.diagnosis.drops import Drops
from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.offsets import Offsets
from monitor.diagnosis.pattern_book import PatternBook
from monitor.diagnosis.sags import Sags
from monitor.diagnosis.sections import Sections
from monitor.diagnosis.shorts import Shorts
from monitor.diagnosis.sight import Sight
from monitor.diagnosis.slow_book import SlowBook
from monitor.diagnosis.snapshots import SampleMemory, snapshot_span
from monitor.diagnosis.throttles import Throttles
from monitor.diagnosis.watcher import Lookout, Stream
from monitor.facts.circuits import Circuits
from monitor.facts.ticks import TICK_S
from monitor.layout import Layout
from monitor.values import Action, Event, Pattern, ReadingBlock, SampleBlock, SlowFigure, Snapshot

STANDSTILL_TICKS = 40


class Diagnosis:
    """Turns readings and samples into events and patterns; results do not depend on how they are cut into blocks."""

    def __init__(self, layout: Layout) -> None:
        self._circuits = Circuits.from_layout(layout)
        self._stream = Stream(self._circuits)
        self._lookouts = _lookouts(self._stream)
        self._sight = Sight(self._stream)
        self._ids = itertools.count(1)
        self._memory = SampleMemory(layout)
        self._to_cut: list[Occurrence] = []
        self._snapshots: list[Snapshot] = []
        self._slow = SlowBook(layout, self._circuits, self._stream)
        self._book = PatternBook(layout, self._circuits, self._stream.ticks)

    def feed(
        self, samples: tuple[SampleBlock, ...], readings: tuple[ReadingBlock, ...], now_s: float
    ) -> tuple[list[Event], list[Pattern]]:
        """Take what one chunk brought, in the stream's time; events that changed, and patterns as they now stand."""
        self._memory.take(samples)
        ticks = self._stream.ticks
        for block in readings:
            if len(block) and block.districts:
                self._stream.take(block)
                self._slow.take(block)
        end = ticks.end
        ticks.complete(now_s)
        if ticks.end == end:
            return [], []
        events = self._advance()
        self._cut_snapshots(ticks.end * TICK_S)
        self._slow.advance(events)
        patterns = self._book.patterns()
        self._memory.forget(ticks.end * TICK_S)
        self._stream.forget()
        return events, patterns

    def finish(self, now_s: float) -> tuple[list[Event], list[Pattern]]:
        """The stream ends: what was held back to see how it goes on."""
        self._stream.ticks.complete(now_s + 1.0)
        self._stream.ticks.stand_still(STANDSTILL_TICKS)
        events = self._advance(at_end=True)
        self._cut_snapshots(math.inf)
        self._slow.finish()
        return events, self._book.patterns(at_end=True)

    def operate(self, action: Action) -> None:
        """An operator did something: where a train passed a place that was named, spots are counted from there."""
        if action.is_landmark:
            self._book.mark(action)

    def drain(self) -> tuple[list[Snapshot], list[SlowFigure]]:
        """Snapshots of events whose samples are all there by now, and slow figures that changed, since the last call."""
        snapshots, self._snapshots = self._snapshots, []
        return snapshots, self._slow.drain()

    def source_ohms(self) -> dict[str, float]:
        """Each supply's source impedance as estimated so far, ohms by name; only where enough steps were seen."""
        return self._slow.source_ohms()

    def _advance(self, *, at_end: bool = False) -> list[Event]:
        told = self._sight.admitted([occurrence for lookout in self._lookouts for occurrence in lookout.advance()])
        told.sort(key=lambda o: (o.first_tick, o.district, o.start_s, o.cause.value))
        end = self._stream.ticks.real_end
        events = []
        for occurrence in told:
            if at_end and occurrence.known_tick >= end:
                continue  # what only shows when the last readings are taken to stand is not known
            is_new = not occurrence.id
            occurrence.id = occurrence.id or next(self._ids)
            if is_new:
                self._to_cut.append(occurrence)
            self._book.note(occurrence)
            events.append(self._as_event(occurrence))
        return events

    def _cut_snapshots(self, reached_s: float) -> None:
        """Cut what is whole: to a little after the event's end, or as much of its beginning as a snapshot holds."""
        waiting = []
        for occurrence in self._to_cut:
            start_s, end_s = snapshot_span(occurrence.start_s, occurrence.end_s)
            if end_s > reached_s:
                waiting.append(occurrence)
                continue
            district = self._circuits.districts[occurrence.district]
            snapshot = self._memory.cut(occurrence.id, district, start_s, end_s)
            if snapshot is not None:
                self._snapshots.append(snapshot)
        self._to_cut = waiting

    def _as_event(self, occurrence: Occurrence) -> Event:
        return Event(
            id=occurrence.id,
            district=self._circuits.districts[occurrence.district],
            cause=occurrence.cause,
            start_s=float(occurrence.start_s),
            end_s=None if occurrence.end_s is None else float(occurrence.end_s),
            confidence=float(occurrence.confidence),
            evidence={name: float(value) for name, value in occurrence.evidence.items()},
        )


def _lookouts(stream: Stream) -> list[Lookout]:
    everywhere = list(range(len(stream.circuits)))
    tracks, ac = np.flatnonzero(stream.circuits.is_track).tolist(), np.flatnonzero(stream.circuits.is_ac).tolist()
    return [
        *(Lookout(kind, stream, everywhere) for kind in (Breaks, Shorts, Sags, Throttles)),
        Lookout(Offsets, stream, ac),
        *(Lookout(kind, stream, tracks) for kind in (Drops, Sections, Climbs)),
    ]
