"""One board on its way through wire time and metering."""

from collections.abc import Iterator
from dataclasses import dataclass, field, fields, replace

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Layout
from monitor.metering import ReadingSpans, Trouble
from monitor.runtime.board_metering import BoardMetering
from monitor.runtime.finding_book import FindingBook
from monitor.runtime.line_placing import LinePlacing
from monitor.runtime.stream_clock import StreamClock, block_in_stream, samples_in_stream, span_in_stream, stream_s
from monitor.values import (
    AggregateBlock,
    BoardSeen,
    Disturbance,
    Finding,
    FindingKind,
    Health,
    Identity,
    LineReadings,
    Phasing,
    ReadingBlock,
    SampleBlock,
    joined_readings,
)
from monitor.values.arrays import Floats
from monitor.wire import Fault, FaultKind, SampleRun
from monitor.wire.timeline import Hole, ScanTimeline


@dataclass(slots=True, kw_only=True)
class Drained:
    """What boards brought since they were last asked, in stream time; fields as those of a step."""

    boards: list[BoardSeen] = field(default_factory=list)
    healths: list[Health] = field(default_factory=list)

    samples: list[SampleBlock] = field(default_factory=list)
    readings: list[ReadingBlock] = field(default_factory=list)
    aggregates: list[AggregateBlock] = field(default_factory=list)
    disturbances: list[Disturbance] = field(default_factory=list)
    phasings: list[Phasing] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    def add(self, other: "Drained") -> None:
        """Take what another board brought."""
        for each in fields(Drained):
            getattr(self, each.name).extend(getattr(other, each.name))


class BoardStage:
    """Items of one board in; sample blocks, readings and findings in stream time out.

    Attributes:
        name: The board's name in the layout file.
        identity: The identity in force, or None.
    """

    def __init__(self, layout: Layout, name: str, clock: StreamClock, finding_ids: Iterator[int], *, intervals: bool) -> None:
        self.name = name
        self.identity: Identity | None = None
        self._clock = clock
        self._timeline = ScanTimeline(name)
        self._lines = LinePlacing(clock)
        self._metering = BoardMetering(layout, name, intervals=intervals)
        self._spans = ReadingSpans()
        self._findings = FindingBook(name, finding_ids)
        self._received_s: float | None = None
        self._away_since_s: float | None = None

    @property
    def missing_channels(self) -> tuple[int, ...]:
        """Channels that the layout names and the board does not have."""
        return self._metering.missing_channels

    @property
    def end_s(self) -> float:
        """Board time reached."""
        return max(self._timeline.end_s, self._lines.end_s)

    @property
    def now_s(self) -> float:
        """Stream time reached."""
        return stream_s(self._clock, self.end_s)

    def take(self, item: SampleRun | LineReadings | Identity | Health | Fault, received_s: float | None = None) -> None:
        """Take one item that arrived at this host time; what comes of it is kept until :meth:`drain`."""
        self._received_s = received_s
        if isinstance(item, SampleRun | Health):
            self._place_lines()
        if isinstance(item, SampleRun):
            self._take_run(item)
        elif isinstance(item, LineReadings):
            self._returned(self._lines.end_s)
            self._lines.add(item)
        elif isinstance(item, Identity):
            self._take_identity(item)
        elif isinstance(item, Health):
            self._findings.add(*self._metering.add_health(item, self.end_s))
        else:
            self._take_fault(item)

    def observe(self, received_s: float | None) -> None:
        """Bytes that end at the board time now reached arrived at this host time."""
        self._place_lines()
        self._clock.observe(self.end_s, received_s)

    def observe_pieces(self, counts: NDArray[np.intp], came_s: Floats) -> None:
        """Of the readings taken last so many had come with each of several pieces, which arrived at these host times."""
        self._place_lines()
        self._lines.observe_pieces(counts, came_s)

    def reopen(self, received_s: float | None) -> None:
        """The port was opened again: the board's numbers do not say how long it was away, but a host clock does."""
        self._place_lines()
        if self._away_since_s is None and self.end_s > 0:
            self._away_since_s = self.end_s
        to_s = self._clock.board_at(received_s)
        at_s = self.end_s if to_s is None else max(self.end_s, to_s)
        self._timeline.reopen(at_s)
        self._lines.reopen(at_s)
        self._clock.reanchor(at_s)

    def finish(self) -> None:
        """No more will come."""
        self._place_lines()
        self._metering.finish()

    def drain(self) -> Drained:
        """What came of the items since the last call, in stream time."""
        self._place_lines()
        clock = self._clock
        samples, metered = self._metering.drain()
        self._findings.add(*metered.troubles)
        return Drained(
            samples=[samples_in_stream(clock, block) for block in samples],
            readings=[
                replace(block_in_stream(clock, block), seconds=self._spans.of(block))
                for block in joined_readings(metered.readings)
            ],
            aggregates=[block_in_stream(clock, block) for block in metered.aggregates],
            disturbances=[span_in_stream(clock, disturbance) for disturbance in metered.disturbances],
            phasings=[replace(phasing, start_s=stream_s(clock, phasing.start_s)) for phasing in metered.phasings],
            findings=self._findings.drain(clock),
        )

    def _returned(self, board_s: float) -> None:
        """Data came at this board time: if the port was away before it, that is a gap."""
        if self._away_since_s is None:
            return
        away_s = max(0.0, board_s - self._away_since_s)
        interval_s = self.identity.scan_interval_s if self.identity is not None else 1.0
        self._note(FindingKind.GAP, self._away_since_s, board_s, max(1, round(away_s / interval_s)))
        self._away_since_s = None

    def _take_run(self, run: SampleRun) -> None:
        if self.identity is None:
            return
        resumes_s = self._clock.board_at(self._received_s)
        if resumes_s is not None:
            resumes_s = max(self.end_s, resumes_s - len(run.counts) * self.identity.scan_interval_s)
        self._returned(self._timeline.end_s)
        for placed in self._timeline.place(run, self.identity, resumes_s):
            if isinstance(placed, Hole):
                self._take_hole(placed)
            else:
                self._metering.add_samples(placed)

    def _take_hole(self, hole: Hole) -> None:
        if hole.kind == "restart":
            self._clock.reanchor(hole.end_s)
        kind = FindingKind.RESTART if hole.kind == "restart" else FindingKind.GAP
        self._note(kind, hole.start_s, hole.end_s, hole.scans if kind is FindingKind.GAP else 1)

    def _place_lines(self) -> None:
        placed = self._lines.place(self.identity, self._received_s, self._timeline.end_s)
        if placed is not None:
            self._metering.add_lines(placed.lines, placed.times_s)
            self._findings.add(*placed.troubles)

    def _take_identity(self, identity: Identity) -> None:
        if identity == self.identity:
            return
        if self.identity is not None:
            self._timeline.break_off()
        self.identity = identity
        self._metering.begin(identity)

    def _take_fault(self, fault: Fault) -> None:
        if fault.kind.is_damage:
            check = fault.detail and f"A line was left out. The last one: {fault.detail}."
            self._note_here(FindingKind.DAMAGED_BYTES, check)
        elif fault.kind is FaultKind.VERSION:
            self._note_here(FindingKind.OTHER_VERSION)

    def _note_here(self, kind: FindingKind, check: str = "") -> None:
        """Something was wrong at the board time reached, which lines that wait do not say yet."""
        if not self._lines.note(kind, check):
            self._note(kind, self.end_s, self.end_s, check=check)

    def _note(self, kind: FindingKind, start_s: float, end_s: float, count: int = 1, check: str = "") -> None:
        self._findings.add(Trouble(kind=kind, channel=None, start_s=start_s, end_s=end_s, count=count, check=check))
