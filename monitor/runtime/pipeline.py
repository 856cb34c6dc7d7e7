"""The pipeline: the one way from bytes to conclusions, for live watching, replay and captures alike.

::

    Chunk -> wire -> SampleBlock -> metering -> ReadingBlock -> protection -> warnings
                          |                          └-> diagnosis -> events, patterns
                          └--------------------------------┘
"""

import copy
import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from monitor.diagnosis import Diagnosis
from monitor.layout import Layout
from monitor.metering.phasing_across import PhasingAcrossBoards
from monitor.protection import Asked, Judge
from monitor.runtime.board_places import BoardPlaces
from monitor.runtime.board_stage import BoardStage, Drained
from monitor.runtime.port_items import PortItems, readings_with
from monitor.runtime.stream_clock import BoardTime, StreamClock
from monitor.values import (
    Action,
    BoardSeen,
    Chunk,
    Event,
    Health,
    Identity,
    JoinedChunk,
    Pattern,
    Phasing,
    ReadingBlock,
    SampleBlock,
    Step,
)
from monitor.values import Warning as RaisedWarning
from monitor.wire import Item, SampleRun, WireDecoder


@dataclass(slots=True)
class _Seen:
    """What boards said of themselves."""

    boards: list[BoardSeen] = field(default_factory=list)
    healths: list[Health] = field(default_factory=list)


class Pipeline:
    """State of the whole stream; feed it chunks, take steps.

    Args:
        layout: The layout file.
        clock_for_board: Makes the clock that maps a board's time to the stream's; by default the board's own time rules.
        asked: What is asked besides warnings.
    """

    def __init__(
        self, layout: Layout, clock_for_board: Callable[[str], StreamClock] | None = None, asked: Asked | None = None
    ) -> None:
        self._layout = layout
        self._clock_for_board = clock_for_board or (lambda _board: BoardTime())
        self._decoders: dict[str, WireDecoder] = {}
        self._flows: dict[str, PortItems] = {}
        self._stages: dict[str, BoardStage] = {}
        self._places = BoardPlaces(layout)
        self._port_of: dict[str, str] = {}
        self._touched: dict[str, BoardStage] = {}
        self._asked = asked or Asked()
        self._judge = Judge(layout, self._asked)
        self._diagnosis = Diagnosis(layout)
        # Where each board's own time rules, their times have nothing to do with each other.
        self._across = None if clock_for_board is None else PhasingAcrossBoards(layout)
        self._finding_ids = itertools.count(1)
        self._now_s = 0.0
        self._actions: list[Action] = []
        self._operated: list[RaisedWarning] = []

    def feed(self, port: str, chunk: Chunk) -> Step:
        """Take one chunk of one port.

        Args:
            port: The port's device or URL as the layout file writes it, or any name offline.
            chunk: The bytes; empty for a tick.
        """
        return self.feed_together([(port, chunk)])

    def feed_together(self, chunks: Sequence[tuple[str, Chunk]]) -> Step:
        """Take what several ports brought over the same stretch of time: all of it is measured before any of it is judged.

        Fed one after the other, the first chunk would move the stream's time on, and the other boards would count as silent.

        Args:
            chunks: At least one port and its chunk; those of one port in their order.

        Returns:
            What all of them brought about.
        """
        seen = _Seen()
        for port, chunk in chunks:
            if chunk.reopened:
                self._reopen(port, chunk.received_s)
            if chunk.data:
                self._take(port, chunk, seen)
        return self._step(chunks, seen)

    def operate(self, action: Action) -> None:
        """An operator did something; the next step tells of it."""
        self._actions.append(action)
        self._operated += self._judge.operate(action)
        self._diagnosis.operate(action)

    def finish(self, port: str = "") -> Step:
        """The stream ends: what was held back comes out."""
        for of_port, decoder in self._decoders.items():
            for item in decoder.finish():
                self._take_item(of_port, item, None, _Seen())
        self._touched = dict(self._stages)
        for stage in self._stages.values():
            stage.finish()
        step = self._step([(port, Chunk(data=b""))], _Seen())
        events, patterns = self._diagnosis.finish(self._now_s)
        snapshots, slow_figures = self._diagnosis.drain()
        warnings = self._judge.finish(self._now_s)
        foreseen, overloads = self._judge.drain()
        return replace(
            step,
            warnings=(*step.warnings, *warnings),
            foreseen=(*step.foreseen, *foreseen),
            overloads=(*step.overloads, *overloads),
            events=(*step.events, *events),
            patterns=(*step.patterns, *patterns),
            snapshots=(*step.snapshots, *snapshots),
            slow_figures=(*step.slow_figures, *slow_figures),
        )

    def _reopen(self, port: str, received_s: float | None) -> None:
        """The port was lost and is open again: its stream begins anew."""
        self._decoders.pop(port, None)
        self._flows.pop(port, None)
        for name in self._places.left(port):
            if name in self._stages:
                self._stages[name].reopen(received_s)

    def _take(self, port: str, chunk: Chunk, seen: "_Seen") -> None:
        self._places.heard(port, chunk.received_s)
        decoder = self._decoders.get(port)
        if decoder is None:
            decoder = self._decoders[port] = WireDecoder(self._layout.line_board(port))
        flow = self._flows.setdefault(port, PortItems())
        if isinstance(chunk, JoinedChunk):
            self._take_joined(port, chunk, flow, seen)
            return
        for item in flow.gathered(decoder.feed(chunk.data)):
            self._take_item(port, item, chunk.received_s, seen)
        for stage in self._stages_on(port):
            stage.observe(chunk.received_s)

    def _take_joined(self, port: str, chunk: JoinedChunk, flow: PortItems, seen: "_Seen") -> None:
        """All at once, but piece by piece where only the pieces tell when something was."""
        decoder = self._decoders[port]
        before = copy.deepcopy(decoder)
        items = flow.gathered(decoder.feed(chunk.data))
        is_lines = decoder.form == "lines"
        counts = readings_with(chunk, items, before.offset) if is_lines else None
        line_board = self._layout.line_board(port)
        has_clock = line_board is None or line_board.lines is None or line_board.lines.time_ms is not None
        if flow.fell_back or (is_lines and (counts is None or not has_clock)):
            self._decoders[port] = before
            for piece in chunk.pieces():
                self._take(port, piece, seen)
            return
        for item in items:
            self._take_item(port, item, chunk.received_s, seen)
        for stage in self._stages_on(port):
            if counts is not None:
                stage.observe_pieces(counts, chunk.came_s)
            elif chunk.is_prompt:
                stage.observe(chunk.received_s)

    def _take_item(self, port: str, item: Item, received_s: float | None, seen: "_Seen") -> None:
        stage = self._stage(port, item, received_s)
        if stage is not None:
            self._touched[stage.name] = stage
            stage.take(item, received_s)
        if isinstance(item, Identity):
            seen.boards.append(_seen(stage, item))
        elif isinstance(item, Health):
            seen.healths.append(item)

    def _step(self, chunks: Sequence[tuple[str, Chunk]], seen: "_Seen") -> Step:
        port, chunk = chunks[-1]
        touched, self._touched = self._touched.values(), {}
        drained = [stage.drain() for stage in touched]
        samples = [block for each in drained for block in each.samples]
        readings = [block for each in drained for block in each.readings]
        came_s = [each.received_s for _, each in chunks if each.received_s is not None]
        self._now_s = max([self._now_s, *(stage.now_s for stage in touched), *came_s])
        warnings = self._judged(readings)
        events, patterns = self._diagnosed(samples, readings)
        snapshots, slow_figures = self._diagnosis.drain()
        foreseen, overloads = self._judge.drain()
        actions, self._actions = self._actions, []
        return Step(
            port=port,
            chunk=chunk,
            now_s=self._now_s,
            boards=tuple(seen.boards),
            healths=tuple(seen.healths),
            samples=tuple(samples),
            readings=tuple(readings),
            aggregates=tuple(block for each in drained for block in each.aggregates),
            disturbances=tuple(disturbance for each in drained for disturbance in each.disturbances),
            warnings=tuple(warnings),
            loads=self._judge.loads_if_moved(),
            foreseen=foreseen,
            overloads=overloads,
            events=tuple(events),
            snapshots=tuple(snapshots),
            patterns=tuple(patterns),
            slow_figures=tuple(slow_figures),
            phasings=(*(phasing for each in drained for phasing in each.phasings), *self._across_boards(samples, drained)),
            findings=tuple(finding for each in drained for finding in each.findings),
            actions=tuple(actions),
            unexplained_bytes=self._decoders[port].unexplained_bytes if port in self._decoders else 0,
        )

    def _across_boards(self, samples: list[SampleBlock], drained: Sequence[Drained]) -> list[Phasing]:
        if self._across is None:
            return []
        return self._across.feed(samples, [block for each in drained for block in each.aggregates])

    def _judged(self, readings: list[ReadingBlock]) -> list[RaisedWarning]:
        warnings, self._operated = self._operated, []
        warnings += self._judge.feed(*readings)
        return warnings + self._judge.tick(self._now_s)

    def _diagnosed(self, samples: list[SampleBlock], readings: list[ReadingBlock]) -> tuple[list[Event], list[Pattern]]:
        return self._diagnosis.feed(tuple(samples), tuple(readings), self._now_s)

    def _stages_on(self, port: str) -> list[BoardStage]:
        return [self._stages[name] for name in self._places.names_on(port) if name in self._stages]

    def _stage(self, port: str, item: Item, received_s: float | None) -> BoardStage | None:
        """The stage of a board; of the first board of the port for items that carry no number (lines, faults)."""
        number = item.number if isinstance(item, Identity | SampleRun | Health) else None
        if number is None and (on_port := self._stages_on(port)):
            return on_port[0]
        name = self._places.find((port, number or 0), item if isinstance(item, Identity) else None)
        if name is None:
            return None
        stage = self._stages.get(name)
        if stage is None:
            stage = self._stages[name] = BoardStage(
                self._layout, name, self._clock_for_board(name), self._finding_ids, intervals=self._asked.intervals
            )
        elif self._port_of.get(name) != port:
            stage.reopen(received_s)
        self._port_of[name] = port
        return stage


def _seen(stage: BoardStage | None, identity: Identity) -> BoardSeen:
    if stage is None:
        return BoardSeen(board=None, identity=identity)
    return BoardSeen(board=stage.name, identity=identity, missing_channels=stage.missing_channels)
