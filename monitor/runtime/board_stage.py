"""One board on its way through wire time and metering."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from monitor.layout import Layout
from monitor.metering import BoardMeter, LineRows
from monitor.runtime.finding_book import FindingBook
from monitor.runtime.stream_clock import StreamClock
from monitor.values import Finding, FindingKind, Health, Identity, LineReadings, ReadingBlock, ResetCause, SampleBlock
from monitor.wire import Fault, FaultKind, SampleRun
from monitor.wire.timeline import Hole, MillisecondTimeline, ScanTimeline


class BoardStage:
    """Items of one board in; sample blocks, readings and findings in stream time out.

    Attributes:
        name: The board's name in the layout file.
        identity: The identity in force, or None.
        missing_channels: Channels that the layout names and the board does not have.
    """

    def __init__(self, layout: Layout, name: str, clock: StreamClock, finding_ids: Iterator[int]) -> None:
        self.name = name
        self.identity: Identity | None = None
        self.missing_channels: tuple[int, ...] = ()
        self._clock = clock
        self._timeline = ScanTimeline(name)
        self._milliseconds = MillisecondTimeline()
        self._meter = BoardMeter(layout, name)
        self._rows = LineRows(layout, name)
        self._book = FindingBook(name, finding_ids)
        self.samples: list[SampleBlock] = []
        self.readings: list[ReadingBlock] = []
        self.findings: dict[int, Finding] = {}

    @property
    def end_s(self) -> float:
        """Board time reached."""
        return max(self._timeline.end_s, self._milliseconds.end_s)

    @property
    def now_s(self) -> float:
        """Stream time reached."""
        return float(self._clock.to_stream(np.array(self.end_s)))

    def take(self, item: SampleRun | LineReadings | Identity | Health | Fault) -> None:
        """Take one item; what comes of it is kept in the lists until :meth:`drain`."""
        if isinstance(item, SampleRun):
            self._take_run(item)
        elif isinstance(item, LineReadings):
            self._take_lines(item)
        elif isinstance(item, Identity):
            self._take_identity(item)
        elif isinstance(item, Health):
            self._take_health(item)
        else:
            self._take_fault(item)

    def observe(self, received_s: float | None) -> None:
        """Bytes that end at the board time now reached arrived at this host time."""
        self._clock.observe(self.end_s, received_s)

    def reopen(self, received_s: float | None) -> None:
        """The port was opened again: nothing says how the board's numbers go on."""
        del received_s
        self._timeline.reopen(self._timeline.end_s)

    def finish(self) -> None:
        """No more will come."""
        self.readings += self._rows.finish()

    def drain(self) -> tuple[list[SampleBlock], list[ReadingBlock], list[Finding]]:
        """What came of the items since the last call, in stream time."""
        samples = [self._sample_time(block) for block in self.samples]
        readings = [self._reading_time(block) for block in self.readings]
        findings = list(self.findings.values())
        self.samples, self.readings, self.findings = [], [], {}
        return samples, readings, findings

    def _take_run(self, run: SampleRun) -> None:
        if self.identity is None:
            return
        for placed in self._timeline.place(run, self.identity):
            if isinstance(placed, Hole):
                self._take_hole(placed)
            else:
                self.samples.append(placed)
                self.readings += self._meter.feed(placed)

    def _take_hole(self, hole: Hole) -> None:
        kind = FindingKind.RESTART if hole.kind == "restart" else FindingKind.GAP
        self._note(kind, hole.start_s, hole.end_s, hole.scans if kind is FindingKind.GAP else 1)

    def _take_lines(self, lines: LineReadings) -> None:
        restarts = self._milliseconds.restarts
        start_s = self._milliseconds.end_s
        times_s = self._milliseconds.place(lines.times_ms)
        self.readings += self._rows.feed(lines, times_s)
        if self._milliseconds.restarts > restarts:
            self._note(FindingKind.RESTART, start_s, start_s, self._milliseconds.restarts - restarts)

    def _take_identity(self, identity: Identity) -> None:
        if identity == self.identity:
            return
        if self.identity is not None:
            self._timeline.break_off()
        self.identity = identity
        self.missing_channels = tuple(self._meter.missing_channels(identity))

    def _take_health(self, health: Health) -> None:
        # The cause stays in every health packet until the next start, so only the first one after a start speaks of it.
        if ResetCause.BROWN_OUT in health.reset_causes and health.uptime_s < 1.5:
            self._note(FindingKind.BROWN_OUT, self.end_s, self.end_s, 1)

    def _take_fault(self, fault: Fault) -> None:
        if fault.kind.is_damage:
            self._note(FindingKind.DAMAGED_BYTES, self.end_s, self.end_s, 1)
        elif fault.kind is FaultKind.VERSION:
            self._note(FindingKind.OTHER_VERSION, self.end_s, self.end_s, 1)

    def _note(self, kind: FindingKind, start_s: float, end_s: float, count: int) -> None:
        start, end = self._clock.to_stream(np.array([start_s, end_s])).tolist()
        finding = self._book.note(kind, start, end, count)
        self.findings[finding.id] = finding

    def _sample_time(self, block: SampleBlock) -> SampleBlock:
        start_s, end_s = self._clock.to_stream(np.array([block.start_s, block.end_s])).tolist()
        return replace(block, start_s=start_s, interval_s=(end_s - start_s) / max(1, len(block.counts)))

    def _reading_time(self, block: ReadingBlock) -> ReadingBlock:
        return replace(block, start_s=self._clock.to_stream(block.start_s), end_s=self._clock.to_stream(block.end_s))
