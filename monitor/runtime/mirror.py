"""A watch as another process sees it: steps and states go there, what operators do comes back.

What looks must never cost watching: pages live in a process of their own, with an interpreter lock of its own. Here is what both
ends have in common; it knows connections, not processes.
"""

import logging
import threading
from collections import deque
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Protocol

from monitor.layout import Layout
from monitor.runtime.live import Live
from monitor.runtime.supervision import PartHealth
from monitor.setup.desk_words import SetupOrder, SetupView
from monitor.values import Action, PortStatus, Step

WAITING_LIMIT = 200
"""Steps that wait for the other process: some seconds. From then on they go without samples and readings; warnings, events and all
else that is said once always go."""
STATE_EVERY_S = 0.25
SILENT_AFTER_S = 3.0
"""Where no state came for so long, the watch itself is not at work."""


class Watched(Protocol):
    """A running watch."""

    layout: Layout
    layout_path: Path | None
    recordings: Path | None
    live: Live
    viewed: threading.Event

    def operate(self, action: Action) -> None:
        """Take what an operator did."""

    def parts(self) -> tuple[PartHealth, ...]:
        """How the program's own parts are doing."""

    def statuses(self) -> tuple[PortStatus, ...]:
        """How it stands with each port."""


class SetupDesk(Protocol):
    """Where a layout is set up or changed beside the watch."""

    def take_order(self, order: SetupOrder) -> None:
        """Do what the page asks for."""

    def view(self) -> SetupView | None:
        """How boards stand; None while no one sets anything up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MirrorSeed:
    """What another process begins with.

    Attributes:
        layout: The layout that is watched.
        layout_path: Its file, where it has one.
        recordings: The folder of recorded sessions, where there is one.
        live: A copy of the live store.
        may_set_up: Whether the layout can be set up or changed beside the watch.
    """

    layout: Layout
    layout_path: Path | None
    recordings: Path | None
    live: Live
    may_set_up: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MirrorState:
    """How the watch itself does.

    Attributes:
        statuses: How it stands with each port.
        parts: How its parts are doing.
        troubles: Sentences for the page.
        recording: What the recorder says of itself, and whether it is well.
        setup: How boards stand for a set-up; None while no one sets anything up.
    """

    statuses: tuple[PortStatus, ...]
    parts: tuple[PartHealth, ...]
    troubles: tuple[str, ...]
    recording: tuple[str | None, bool]
    setup: SetupView | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewerCame:
    """Somebody looks at the page: a demonstration may begin."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LogLine:
    """What the other process wants in the log of the watch.

    Attributes:
        level: As :mod:`logging` numbers them.
        text: The message, with a stack behind it where there is one.
    """

    name: str
    level: int
    text: str


class MirrorSender:
    """The watch's end.

    Args:
        watch: What is mirrored.
        desk: Where a layout is set up; None where none can be.
    """

    def __init__(self, watch: Watched, desk: SetupDesk | None = None) -> None:
        self._watch = watch
        self._desk = desk
        self._has_new_watch = False
        self._waiting: deque[Step] = deque()
        self._arrived = threading.Event()

    def take(self, step: Step) -> None:
        """Take a step; a sink of the watch: never blocks."""
        step = replace(step, chunk=replace(step.chunk, data=b""))
        if len(self._waiting) >= WAITING_LIMIT:
            step = replace(step, samples=(), readings=(), aggregates=(), snapshots=())
            if not _says_anything(step):
                return
        self._waiting.append(step)
        self._arrived.set()

    def follow(self, watch: Watched) -> None:
        """Mirror another watch from now on; before it starts."""
        self._watch = watch
        self._has_new_watch = True
        self._arrived.set()

    def seed(self) -> MirrorSeed:
        """What another process begins with; what waits goes to it, too, or is in it already: steps are taken twice without harm."""
        watch = self._watch
        return MirrorSeed(
            layout=watch.layout,
            layout_path=watch.layout_path,
            recordings=watch.recordings,
            live=watch.live.copy(),
            may_set_up=self._desk is not None,
        )

    def send(self, connection: Connection, wait_s: float) -> None:
        """Send what waits; where nothing does, wait for it.

        Raises:
            OSError: The other process is gone.
        """
        self._arrived.wait(wait_s)
        self._arrived.clear()
        if self._has_new_watch:
            self._has_new_watch = False
            self._waiting.clear()
            connection.send(self.seed())
        steps = [self._waiting.popleft() for _ in range(len(self._waiting))]
        if steps:
            connection.send(steps)
        while connection.poll():
            self._take(connection.recv())

    def _take(self, said: object) -> None:
        """What comes from the pages."""
        if isinstance(said, Action):
            self._watch.operate(said)
        elif isinstance(said, SetupOrder):
            if self._desk is not None:
                self._desk.take_order(said)
        elif isinstance(said, ViewerCame):
            self._watch.viewed.set()
        elif isinstance(said, LogLine):
            sentence, _, stack = said.text.partition("\n")
            logging.getLogger(said.name).log(said.level, "%s", sentence, extra={"other_stack": stack})

    def send_state(self, connection: Connection) -> None:
        """Say how the watch does.

        Raises:
            OSError: The other process is gone.
        """
        watch, picture = self._watch, self._watch.live.picture()
        state = MirrorState(
            statuses=watch.statuses(),
            parts=watch.parts(),
            troubles=picture.troubles,
            recording=(picture.recording, picture.recording_is_well),
            setup=None if self._desk is None else self._desk.view(),
        )
        connection.send(state)


class MirroredWatch:
    """The other process's end: a watch of the same shape.

    Attributes:
        layout: The layout that is watched; likewise layout_path, recordings, live and may_set_up.
    """

    def __init__(self, seed: MirrorSeed, connection: Connection) -> None:
        self.layout, self.layout_path, self.recordings, self.live = seed.layout, seed.layout_path, seed.recordings, seed.live
        self.may_set_up = seed.may_set_up
        self._connection = connection
        self._has_viewer = False
        self._lock = threading.Lock()
        self._state: MirrorState | None = None
        self._state_at_s = self.live.now_s()

    def run(self) -> "MirroredWatch | None":
        """Take what comes.

        Returns:
            None once the watch is gone; another one where that is mirrored from now on.
        """
        while True:
            try:
                said = self._connection.recv()
            except (EOFError, OSError):
                return None
            if isinstance(said, MirrorState):
                self._take_state(said)
            elif isinstance(said, MirrorSeed):
                other = MirroredWatch(said, self._connection)
                other._lock = self._lock
                return other
            else:
                for step in said:
                    self.live.publish(step)

    def operate(self, action: Action) -> None:
        """Hand on what an operator did."""
        self.tell(action)

    def viewer_came(self) -> None:
        """Say once that somebody looks."""
        if not self._has_viewer:
            self._has_viewer = True
            self.tell(ViewerCame())

    def setup_view(self) -> SetupView | None:
        """How boards stand for a set-up; None where nothing came of late."""
        is_late = self.live.now_s() - self._state_at_s > SILENT_AFTER_S
        return None if self._state is None or is_late else self._state.setup

    def tell(self, said: Action | LogLine | SetupOrder | ViewerCame) -> None:
        """Hand something to the watch's process; from any thread.

        Raises:
            OSError: It is gone.
        """
        with self._lock:
            self._connection.send(said)

    def parts(self) -> tuple[PartHealth, ...]:
        """How the parts of the watch are doing; itself where it fell silent."""
        silent_s = self.live.now_s() - self._state_at_s
        known = () if self._state is None else self._state.parts
        if silent_s <= SILENT_AFTER_S:
            return known
        sentence = (
            "The watch has not answered its page for some seconds: this computer does not keep up, or start the program again."
        )
        return (
            *known,
            PartHealth(name="watch", alive=True, failures=0, trouble="", still_s=silent_s, is_stalled=True, standstill=sentence),
        )

    def statuses(self) -> tuple[PortStatus, ...]:
        """How it stands with each port."""
        return () if self._state is None else self._state.statuses

    def _take_state(self, state: MirrorState) -> None:
        self._state, self._state_at_s = state, self.live.now_s()
        self.live.set_ports(state.statuses)
        self.live.set_troubles(state.troubles)
        self.live.set_recording(*state.recording)


def _says_anything(step: Step) -> bool:
    return bool(
        step.boards or step.healths or step.disturbances or step.warnings or step.loads or step.events or step.patterns
        or step.slow_figures or step.phasings or step.findings or step.actions
    )  # fmt: skip
