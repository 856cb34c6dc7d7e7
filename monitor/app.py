"""The one place that wires everything: a layout and options become a running watch.

::

    port -> PortReader (a thread each) -> Inbox -> PipelineWorker (one thread) -> Live, recorder, further sinks

The supervisor's thread tells the live store how ports and recording are doing, notices a part that stands still and restarts it.
"""

import logging
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol, runtime_checkable

import msgspec

from monitor.errors import LayoutError
from monitor.layout import Board, Layout
from monitor.link import BoardClock, HostClock, SerialSource
from monitor.runtime import Pipeline
from monitor.runtime.live import Live
from monitor.runtime.port_record import PortRecord
from monitor.runtime.reader import PortReader, Source
from monitor.runtime.supervision import (
    STALLED_AFTER_S,
    PartHealth,
    SupervisedThread,
    SupervisedWorker,
    Watchdog,
    where_is,
    with_standing,
)
from monitor.runtime.worker import Inbox, PipelineWorker, Sink
from monitor.values import Action, PortStatus, Step

_log = logging.getLogger(__name__)

SUPERVISOR = "supervisor"
SUPERVISE_EVERY_S = 0.25
SUSPECTED_FOR_S = 1.0
STOP_WITHIN_S = 5.0


def port_source(port: str, baud: int, clock: HostClock) -> Source:
    """What reads a port: a serial port, or a board on the network that publishes its lines to a broker."""
    if port.startswith(("mqtt://", "mqtts://")):
        from monitor.bus.board_source import BoardSource  # noqa: PLC0415 - most watches need no broker

        return BoardSource(port, clock.now_s)
    return SerialSource(port, baud, clock)


class RecorderStatus(Protocol):
    """How it stands with the recording."""

    @property
    def sentence(self) -> str:
        """What a person should know and do."""

    @property
    def is_well(self) -> bool:
        """False where something is wrong that a person should mend."""


class StepRecorder(Protocol):
    """What keeps the session."""

    def put(self, step: Step) -> None:
        """Take one step; never blocks."""

    def close(self, reason: str) -> None:
        """End the session."""

    def status(self) -> RecorderStatus:
        """How it stands; from any thread."""


@runtime_checkable
class BeatingRecorder(Protocol):
    """A recorder with a thread of its own, which may stand still where the disk does not answer."""

    @property
    def beats(self) -> int:
        """Goes up each time the thread goes round."""

    def restart(self) -> None:
        """Leave that thread behind and begin a new session with another."""

    @property
    def thread(self) -> threading.Thread:
        """That thread."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchOptions:
    """How to watch.

    Attributes:
        sinks: Further takers of each step, called in the worker's thread: they must be quick.
        source_for: Makes what is read for a port from (port, baud, clock).
        layout_path: The layout file that bench checks may be kept in; None where it is not a file of the user's.
        recordings: The folder of recorded sessions, to be looked at; None where there is none.
        troubles: Says what else is wrong, sentences for the page.
        viewed: Is set when somebody first looks at the page.
    """

    sinks: tuple[Sink, ...] = ()
    source_for: Callable[[str, int, HostClock], Source] = port_source
    layout_path: Path | None = None
    recordings: Path | None = None
    troubles: Callable[[], tuple[str, ...]] = tuple
    viewed: threading.Event = field(default_factory=threading.Event)


class Watch:
    """A watch: readers, pipeline, live store and recorder, from :meth:`start` to :meth:`stop`.

    Args:
        layout: The layout file; every board needs a port.
        options: How to watch.
        recorder: Keeps the session; None keeps nothing.
        clock: The host's clock; zero is the beginning of the session.

    Attributes:
        layout_path: Its file, where it has one.
        recordings: The folder of recorded sessions, where there is one.
        clock: The host's clock.
        viewed: Is set when somebody first looks at the page.
        live: What pages look at.

    Raises:
        LayoutError: A board has no port, or two boards on one port differ in baud.
    """

    def __init__(
        self,
        layout: Layout,
        options: WatchOptions | None = None,
        *,
        recorder: StepRecorder | None = None,
        clock: HostClock | None = None,
    ) -> None:
        options = options or WatchOptions()
        self.layout = layout
        self.layout_path = options.layout_path
        self.recordings = options.recordings
        self.viewed = options.viewed
        self.clock = clock or HostClock()
        self._further_troubles = options.troubles
        self.live = Live(layout, self.clock.now_s, self.clock.began_at)
        self._recorder: StepRecorder | None = None
        self._inbox = Inbox()
        bauds = _bauds(layout)
        self._records = {port: PortRecord(port, layout, baud) for port, baud in bauds.items()}
        worker = PipelineWorker(
            lambda: Pipeline(layout, clock_for_board=lambda _board: BoardClock()),
            inbox=self._inbox,
            sinks=[self.live.publish, *options.sinks],
            records=self._records,
            now_s=self.clock.now_s,
        )
        self._readers = [self._reader(port, baud, options) for port, baud in bauds.items()]
        self._pipeline = SupervisedWorker("pipeline", worker)
        self._recording: Watchdog | None = None
        self._supervisor = SupervisedThread(SUPERVISOR, self._supervise)
        self._supervised_s = time.monotonic()
        self._suspected_s: float | None = None
        if recorder is not None:
            self.keep(recorder)

    def keep(self, recorder: StepRecorder) -> None:
        """Keep the session with this recorder; before :meth:`start`. It is closed by :meth:`stop`."""
        self._recorder = recorder
        self._pipeline.worker.add_sink(recorder.put)
        if isinstance(recorder, BeatingRecorder):
            self._recording = Watchdog("recorder", recorder, lambda: where_is(recorder.thread))

    def add_sink(self, sink: Sink) -> None:
        """Hand each step to one more taker, which must be quick; before :meth:`start`."""
        self._pipeline.worker.add_sink(sink)

    def start(self) -> None:
        """Start watching; returns at once."""
        self._supervised_s = time.monotonic()
        self._pipeline.start()
        self._supervisor.start()
        for reader in self._readers:
            reader.start()

    def stop(self, reason: str = "stopped") -> None:
        """Stop reading, work through what was read, close the session; returns when all is done.

        Takes some seconds at most; a second call does nothing.
        """
        groups: tuple[Sequence[SupervisedThread | SupervisedWorker[PortReader] | SupervisedWorker[PipelineWorker]], ...]
        groups = (self._readers, [self._pipeline], [self._supervisor])
        for group in groups:
            for thread in group:
                thread.ask_to_stop()
            for thread in group:
                if not thread.join(STOP_WITHIN_S):
                    _log.error("%s did not stop within %.0f s", thread.health().name, STOP_WITHIN_S)
        self.live.set_ports(self.statuses())
        recorder, self._recorder = self._recorder, None
        if recorder is not None:
            recorder.close(reason)

    def operate(self, action: Action) -> None:
        """Take what an operator did; from any thread."""
        self._inbox.operate(action)

    def statuses(self) -> tuple[PortStatus, ...]:
        """How it stands with each port, in file order."""
        return tuple(record.status() for record in self._records.values())

    def parts(self) -> tuple[PartHealth, ...]:
        """How the watch's own parts are doing: readers, pipeline, recorder, supervisor."""
        return (
            *(reader.health() for reader in self._readers),
            self._pipeline_health(),
            *self._recorder_health(),
            self._own_health(),
        )

    @property
    def dropped_bytes(self) -> int:
        """Bytes dropped because the computer could not keep up."""
        return self._inbox.dropped_bytes

    def _pipeline_health(self) -> PartHealth:
        health, worker = self._pipeline.health(), self._pipeline.worker
        return replace(health, failures=health.failures + worker.failures, trouble=health.trouble or worker.trouble)

    def _recorder_health(self) -> tuple[PartHealth, ...]:
        if self._recording is None:
            return ()
        return (with_standing(PartHealth(name="recorder", alive=True, failures=0, trouble=""), self._recording),)

    def _own_health(self) -> PartHealth:
        # The supervisor is watched from here only: by the terminal's loop and /healthz.
        now_s = time.monotonic()
        still_s = max(0.0, now_s - self._supervised_s - SUPERVISE_EVERY_S)
        if still_s <= STALLED_AFTER_S:
            self._suspected_s = None
        elif self._suspected_s is None:
            self._suspected_s = now_s
        # Where the whole program stood still, the supervisor has a moment to go on like everybody else.
        stalled = self._suspected_s is not None and now_s - self._suspected_s > SUSPECTED_FOR_S
        sentence = (
            "The supervisor stands still: if another part did too, it would go unnoticed. Start the program again."
            if stalled
            else ""
        )
        return replace(self._supervisor.health(), still_s=still_s, is_stalled=stalled, standstill=sentence)

    def _reader(self, port: str, baud: int, options: WatchOptions) -> SupervisedWorker[PortReader]:
        reader = PortReader(
            self._records[port],
            options.source_for(port, baud, self.clock),
            inbox=self._inbox,
            now_s=self.clock.now_s,
            baud=baud,
        )
        return SupervisedWorker(f"reader of {port}", reader)

    def _supervise(self, stop: threading.Event) -> None:
        while not stop.wait(SUPERVISE_EVERY_S):
            now_s = time.monotonic()
            # A program that stood still as a whole (a suspended computer) holds nothing against its parts.
            gone_s, self._supervised_s = min(now_s - self._supervised_s, 2 * SUPERVISE_EVERY_S), now_s
            for reader in self._readers:
                reader.look(gone_s)
            self._pipeline.look(gone_s)
            if self._recording is not None:
                self._recording.look(gone_s)
            self._report()

    def _report(self) -> None:
        """Tell the pages how the parts are doing."""
        self.live.set_ports(self.statuses())
        self.live.set_troubles((*(part.standstill for part in self.parts() if part.standstill), *self._further_troubles()))
        if self._recorder is not None:
            recording = self._recorder.status()
            self.live.set_recording(recording.sentence, recording.is_well)


def with_ports(layout: Layout, ports: Mapping[str, str]) -> Layout:
    """The layout with boards moved to other ports.

    Raises:
        LayoutError: A name is no board of the layout.
    """
    names = [board.name for board in layout.board]
    for name in ports:
        if name not in names:
            raise LayoutError(f'there is no board "{name}" to give a port to: the layout has {", ".join(names) or "none"}')
    boards = tuple(msgspec.structs.replace(board, port=ports.get(board.name, board.port)) for board in layout.board)
    return msgspec.structs.replace(layout, board=boards)


def _bauds(layout: Layout) -> dict[str, int]:
    """Baud rate by port, in file order."""
    if not layout.board:
        raise LayoutError("there is no [[board]] table, so there is nothing to read: add one, or run 'pilotlamp layout new'")
    bauds: dict[str, int] = {}
    for board in layout.board:
        port = _port(board, layout.board)
        if bauds.setdefault(port, board.baud) != board.baud:
            raise LayoutError(
                f"two boards on port {port} have different baud rates: one port runs at one rate",
                table=f'board "{board.name}"',
                key="baud",
            )
    return bauds


def _port(board: Board, boards: Sequence[Board]) -> str:
    if board.port is None:
        raise LayoutError(
            "this key is missing, and a board that is to be watched needs it: add it (see 'pilotlamp ports')"
            f"{'' if len(boards) > 1 else ', or give --port ' + board.name + '=DEVICE'}",
            table=f'board "{board.name}"',
            key="port",
        )
    return board.port
