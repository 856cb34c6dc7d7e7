"""The pipeline: the one way from bytes to conclusions, for live watching, replay and captures alike.

::

    Chunk -> PortStage -> items -> Boards, each a BoardStage -> samples, readings -> Judge -> warnings
                                                                                  -> Diagnosis -> events, patterns

A straight way: no stage asks one before it.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

from monitor.diagnosis import Diagnosis
from monitor.layout import Layout
from monitor.metering.phasing_across import PhasingAcrossBoards
from monitor.protection import Asked, Judge
from monitor.runtime.boards import Boards
from monitor.runtime.port_stage import PortStage
from monitor.runtime.stream_clock import BoardTime, StreamClock
from monitor.values import (
    Action,
    Chunk,
    Event,
    Pattern,
    Step,
)
from monitor.values import Warning as RaisedWarning


class Pipeline:
    """State of the whole stream; feed it chunks, take steps.

    Args:
        layout: The layout file.
        clock_for_board: Makes the clock that maps a board's time to the stream's; by default the board's own time rules.
        asked: What is asked besides warnings.
        concludes: False where figures are enough: judge and diagnosis, which take most of the time, are left out.
    """

    def __init__(
        self,
        layout: Layout,
        clock_for_board: Callable[[str], StreamClock] | None = None,
        asked: Asked | None = None,
        *,
        concludes: bool = True,
    ) -> None:
        self._layout = layout
        asked = asked or Asked()
        self._ports: dict[str, PortStage] = {}
        self._boards = Boards(layout, clock_for_board or (lambda _board: BoardTime()), intervals=asked.intervals)
        # Where each board's own time rules, their times have nothing to do with each other.
        self._across = None if clock_for_board is None else PhasingAcrossBoards(layout)
        self._judge = Judge(layout, asked)
        self._diagnosis = Diagnosis(layout)
        self._concludes = concludes
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
        for port, chunk in chunks:
            if chunk.reopened:
                self._ports.pop(port, None)
                self._boards.reopen(port, chunk.received_s)
            if chunk.data:
                if port not in self._ports:
                    self._ports[port] = PortStage(self._layout.line_board(port))
                for arrival in self._ports[port].take(chunk):
                    self._boards.take(port, arrival)
        return self._step(chunks)

    def operate(self, action: Action) -> None:
        """An operator did something; the next step tells of it."""
        self._actions.append(action)
        self._operated += self._judge.operate(action)
        self._diagnosis.operate(action)

    def finish(self, port: str = "") -> Step:
        """The stream ends: what was held back comes out."""
        for of_port, stage in self._ports.items():
            self._boards.take(of_port, stage.finish())
        self._boards.finish()
        step = self._step([(port, Chunk(data=b""))])
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

    def _step(self, chunks: Sequence[tuple[str, Chunk]]) -> Step:
        port, chunk = chunks[-1]
        figures = self._boards.drain()
        came_s = [each.received_s for _, each in chunks if each.received_s is not None]
        self._now_s = max([self._now_s, self._boards.now_s, *came_s])
        across = [] if self._across is None else self._across.feed(figures.samples, figures.aggregates)
        warnings, self._operated = self._operated, []
        events: list[Event] = []
        patterns: list[Pattern] = []
        if self._concludes:
            warnings = [*warnings, *self._judge.feed(*figures.readings), *self._judge.tick(self._now_s)]
            events, patterns = self._diagnosis.feed(tuple(figures.samples), tuple(figures.readings), self._now_s)
        snapshots, slow_figures = self._diagnosis.drain()
        foreseen, overloads = self._judge.drain()
        actions, self._actions = self._actions, []
        return Step(
            port=port,
            chunk=chunk,
            now_s=self._now_s,
            boards=tuple(figures.boards),
            healths=tuple(figures.healths),
            samples=tuple(figures.samples),
            readings=tuple(figures.readings),
            aggregates=tuple(figures.aggregates),
            disturbances=tuple(figures.disturbances),
            warnings=tuple(warnings),
            loads=self._judge.loads_if_moved(),
            foreseen=foreseen,
            overloads=overloads,
            events=tuple(events),
            snapshots=tuple(snapshots),
            patterns=tuple(patterns),
            slow_figures=tuple(slow_figures),
            phasings=(*figures.phasings, *across),
            findings=tuple(figures.findings),
            actions=tuple(actions),
            unexplained_bytes=self._ports[port].unexplained_bytes if port in self._ports else 0,
        )
