"""One board on its way through wire time and metering."""

from collections.abc import Iterator
from dataclasses import dataclass, field, fields, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Layout
from monitor.metering import BoardHealth, BoardMeter, LineRows, Metered, Trouble
from monitor.metering.board_supply import supply_at_calibration
from monitor.runtime.finding_book import FindingBook
from monitor.runtime.stream_clock import StreamClock
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
    joined_lines,
    joined_readings,
)
from monitor.values.arrays import Floats
from monitor.wire import Fault, FaultKind, SampleRun
from monitor.wire.timeline import Hole, MillisecondTimeline, ScanTimeline

TOLD_S, TOLD_TIMES = 15.0, 4
"""Where pieces were joined, the clock is told of one in so many seconds, or so many times: of the one that came with the least delay."""

_Block = TypeVar("_Block", ReadingBlock, AggregateBlock)


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
        missing_channels: Channels that the layout names and the board does not have.
    """

    def __init__(self, layout: Layout, name: str, clock: StreamClock, finding_ids: Iterator[int], *, intervals: bool) -> None:
        self.name = name
        self.identity: Identity | None = None
        self.missing_channels: tuple[int, ...] = ()
        self._clock = clock
        self._timeline = ScanTimeline(name)
        self._milliseconds = MillisecondTimeline()
        self._meter = BoardMeter(layout, name, intervals=intervals)
        self._rows = LineRows(layout, name)
        reference_volts, is_corrected = supply_at_calibration(layout, name)
        self._health = BoardHealth(reference_volts, is_corrected=is_corrected)
        self._book = FindingBook(name, finding_ids)
        self.samples: list[SampleBlock] = []
        self._waiting: list[list[SampleBlock]] = []
        self._lines: list[LineReadings] = []
        self._amid_lines: list[tuple[int, FindingKind, str]] = []
        self.metered = Metered()
        self._received_s: float | None = None
        self._placed_s = np.zeros(0)
        self._away_since_s: float | None = None
        self._notes: list[Trouble] = []

    @property
    def end_s(self) -> float:
        """Board time reached."""
        return max(self._timeline.end_s, self._milliseconds.end_s)

    @property
    def now_s(self) -> float:
        """Stream time reached."""
        return self._stream_s(self.end_s)

    def take(self, item: SampleRun | LineReadings | Identity | Health | Fault, received_s: float | None = None) -> None:
        """Take one item that arrived at this host time; what comes of it is kept until :meth:`drain`."""
        self._received_s = received_s
        if isinstance(item, SampleRun | Health):
            self._place_lines()
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
        self._place_lines()
        self._clock.observe(self.end_s, received_s)

    def observe_pieces(self, counts: NDArray[np.intp], came_s: Floats) -> None:
        """Of the readings taken last so many had come with each of several pieces, which arrived at these host times."""
        self._place_lines()
        told = np.flatnonzero(counts > 0)
        board_s, came_s = self._placed_s[counts[told] - 1], came_s[told]
        turns = np.floor((came_s - came_s[:1]) / np.clip(np.ptp(came_s) / TOLD_TIMES, 0.1, TOLD_S))
        order = np.lexsort((came_s - self._clock.to_stream(board_s), turns))
        for k in np.sort(order[np.flatnonzero(np.diff(turns[order], prepend=-1.0))]).tolist():
            self._clock.observe(float(board_s[k]), float(came_s[k]))

    def reopen(self, received_s: float | None) -> None:
        """The port was opened again: the board's numbers do not say how long it was away, but a host clock does."""
        self._place_lines()
        if self._away_since_s is None and self.end_s > 0:
            self._away_since_s = self.end_s
        self._leap(self._clock.board_at(received_s))

    def finish(self) -> None:
        """No more will come."""
        self._place_lines()
        self._meter_waiting()
        self.metered.add(self._rows.finish())
        self.metered.add(self._meter.finish())

    def drain(self) -> Drained:
        """What came of the items since the last call, in stream time."""
        self._place_lines()
        self._meter_waiting()
        metered = self.metered
        self._notes += metered.troubles
        drained = Drained(
            samples=[self._sample_time(block) for block in self.samples],
            readings=[self._block_time(block) for block in joined_readings(metered.readings)],
            aggregates=[self._block_time(block) for block in metered.aggregates],
            disturbances=[self._span_time(disturbance) for disturbance in metered.disturbances],
            phasings=[replace(phasing, start_s=self._stream_s(phasing.start_s)) for phasing in metered.phasings],
            findings=self._noted(),
        )
        self.samples, self.metered, self._notes = [], Metered(), []
        return drained

    def _leap(self, to_s: float | None) -> None:
        """Both timelines start over, at a board time where the host clock gave one."""
        at_s = self.end_s if to_s is None else max(self.end_s, to_s)
        self._timeline.reopen(at_s)
        self._milliseconds.reopen(at_s)
        self._clock.reanchor(at_s)

    def _back(self, board_s: float) -> None:
        """Data came at this board time: if the port was away before it, that is a gap."""
        if self._away_since_s is None:
            return
        away_s = max(0.0, board_s - self._away_since_s)
        interval_s = self.identity.scan_interval_s if self.identity is not None else 1.0
        self._note_at(FindingKind.GAP, self._away_since_s, board_s, max(1, round(away_s / interval_s)))
        self._away_since_s = None

    def _take_run(self, run: SampleRun) -> None:
        if self.identity is None:
            return
        resumes_s = self._clock.board_at(self._received_s)
        if resumes_s is not None:
            resumes_s = max(self.end_s, resumes_s - len(run.counts) * self.identity.scan_interval_s)
        self._back(self._timeline.end_s)
        for placed in self._timeline.place(run, self.identity, resumes_s):
            if isinstance(placed, Hole):
                self._take_hole(placed)
            else:
                self._take_block(placed)

    def _take_block(self, block: SampleBlock) -> None:
        """Blocks wait for those that come with them; such as follow each other are joined, whatever a board says between them."""
        if self._waiting and block.continues:
            self._waiting[-1].append(block)
        else:
            self._waiting.append([block])

    def _meter_waiting(self) -> None:
        if not self._waiting:
            return
        blocks = [_joined_samples(run) for run in self._waiting]
        self._waiting = []
        self.samples += blocks
        self.metered.add(self._meter.feed(*blocks))

    def _take_hole(self, hole: Hole) -> None:
        if hole.kind == "restart":
            self._clock.reanchor(hole.end_s)
        kind = FindingKind.RESTART if hole.kind == "restart" else FindingKind.GAP
        self._note_at(kind, hole.start_s, hole.end_s, hole.scans if kind is FindingKind.GAP else 1)

    def _take_lines(self, lines: LineReadings) -> None:
        """Lines wait for those that come with them, for many take hardly longer than one."""
        self._back(self._milliseconds.end_s)
        self._lines.append(lines)

    def _place_lines(self) -> None:
        if not self._lines:
            return
        blocks, amid, self._lines, self._amid_lines = self._lines, self._amid_lines, [], []
        lines, start_s = joined_lines(blocks), self._milliseconds.end_s
        times_s = self._line_times(lines)
        self.metered.add(self._rows.feed(lines, times_s))
        self._placed_s = times_s
        if not (amid or self._milliseconds.restarts_at):
            return
        # Board time reached after so many lines.
        reached_s = [start_s, *times_s.tolist()]
        notes = []
        for k in self._milliseconds.restarts_at:
            self._clock.reanchor(reached_s[k + 1])
            notes.append((k + 1, FindingKind.RESTART, reached_s[k], reached_s[k + 1], ""))
        ahead = np.cumsum([0, *(len(block.times_ms) for block in blocks)]).tolist()
        for count, kind, check in amid:
            at_s = max(self._timeline.end_s, reached_s[ahead[count]])
            notes.append((ahead[count], kind, at_s, at_s, check))
        for _, kind, from_s, to_s, check in sorted(notes, key=lambda note: note[0]):
            self._note_at(kind, from_s, to_s, check=check)

    def _line_times(self, lines: LineReadings) -> Floats:
        """Board seconds of readings: by the board's own clock, or by when they came where it has none."""
        if self.identity is not None and not self.identity.has_clock and self._received_s is not None:
            return self._milliseconds.place_received(lines.times_ms, self._received_s, self.identity.scan_interval_s)
        return self._milliseconds.place(lines.times_ms, self._clock.board_at(self._received_s))

    def _take_identity(self, identity: Identity) -> None:
        if identity == self.identity:
            return
        self._meter_waiting()
        if self.identity is not None:
            self._timeline.break_off()
        self.identity = identity
        self.missing_channels = tuple(self._meter.missing_channels(identity))

    def _take_health(self, health: Health) -> None:
        self._meter.note_supply(self.end_s, health.supply_volts)
        self._notes += self._health.judge(health, self.end_s)

    def _take_fault(self, fault: Fault) -> None:
        if fault.kind.is_damage:
            self._note_here(FindingKind.DAMAGED_BYTES, fault.detail and f"A line was left out. The last one: {fault.detail}.")
        elif fault.kind is FaultKind.VERSION:
            self._note_here(FindingKind.OTHER_VERSION)

    def _note_here(self, kind: FindingKind, check: str = "") -> None:
        """Something was wrong at the board time reached, which lines that wait do not say yet."""
        if self._lines:
            self._amid_lines.append((len(self._lines), kind, check))
        else:
            self._note_at(kind, self.end_s, self.end_s, check=check)

    def _note_at(self, kind: FindingKind, start_s: float, end_s: float, count: int = 1, check: str = "") -> None:
        self._notes.append(Trouble(kind=kind, channel=None, start_s=start_s, end_s=end_s, count=count, check=check))

    def _noted(self) -> list[Finding]:
        """Findings that changed: board times become stream times now that the clock has seen this chunk."""
        found = {}
        for trouble in self._notes:
            end_s = None if trouble.end_s is None else self._stream_s(trouble.end_s)
            finding = self._book.note(replace(trouble, start_s=self._stream_s(trouble.start_s), end_s=end_s))
            found[finding.id] = finding
        return list(found.values())

    def _sample_time(self, block: SampleBlock) -> SampleBlock:
        start_s, end_s = self._clock.to_stream(np.array([block.start_s, block.end_s])).tolist()
        interval_s = (end_s - start_s) / max(1, len(block.counts))
        return replace(block, start_s=start_s, interval_s=interval_s, drift=self._clock.drift)

    def _block_time(self, block: _Block) -> _Block:
        return replace(block, start_s=self._clock.to_stream(block.start_s), end_s=self._clock.to_stream(block.end_s))

    def _span_time(self, disturbance: Disturbance) -> Disturbance:
        end_s = None if disturbance.end_s is None else self._stream_s(disturbance.end_s)
        return replace(disturbance, start_s=self._stream_s(disturbance.start_s), end_s=end_s)

    def _stream_s(self, board_s: float) -> float:
        return float(self._clock.to_stream(np.array(board_s)))


def _joined_samples(run: list[SampleBlock]) -> SampleBlock:
    """Blocks that follow each other, as one."""
    return run[0] if len(run) == 1 else replace(run[0], counts=np.concatenate([block.counts for block in run]))
