"""Where a layout is set up or changed, in the process that reads the ports; the page looks on and gives orders."""

import contextlib
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import msgspec

from monitor.app import port_source
from monitor.errors import LayoutError
from monitor.layout import Layout, Mains, load_layout
from monitor.layout.check import check_isolation
from monitor.link import HostClock
from monitor.runtime.live import Live
from monitor.runtime.setup_ports import SetupPorts
from monitor.runtime.supervision import PartHealth
from monitor.runtime.worker import Sink
from monitor.setup.desk_words import SetupOrder, SetupView
from monitor.setup.port_tap import MovementWatch, PortTap, PortView
from monitor.values import Action, PortStatus, Step

LOOKED_AT_FOR_S = 10.0
NO_LAYOUT = Layout(title="Set up", mains=Mains(volts=120, hertz=60))
REHEARSED = "rehearsal.toml"
"""What is set up on the rehearsal board is written there: it is no one's layout."""
REHEARSAL = "rehearsal board, a model and not your bench"


class IdleWatch:
    """Stands where a watch will be once there is a layout at that path."""

    def __init__(self, path: Path, recordings: Path | None) -> None:
        self.layout = NO_LAYOUT
        self.layout_path: Path | None = path
        self.recordings: Path | None = recordings
        self.viewed = threading.Event()
        clock = HostClock()
        self.live = Live(NO_LAYOUT, clock.now_s, clock.began_at)

    def operate(self, action: Action) -> None:
        """Nothing is operated yet."""

    def parts(self) -> tuple[PartHealth, ...]:
        """No part runs yet."""
        return ()

    def statuses(self) -> tuple[PortStatus, ...]:
        """No port is watched yet."""
        return ()

    def add_sink(self, sink: Sink) -> None:
        """Nothing comes yet."""


class Desk:
    """See :class:`monitor.runtime.mirror.SetupDesk`.

    Args:
        path: The layout file.
        layout: What is watched; None while nothing is.

    Attributes:
        path: The layout file.
        changed: The layout that is to be watched from now on; None while nothing changed.
    """

    def __init__(self, path: Path, layout: Layout | None) -> None:
        self.path = path
        self.changed: Layout | None = None
        self._layout = layout
        self._clock = HostClock()
        self._ports = SetupPorts(lambda port, baud: port_source(port, baud, self._clock), self._clock.now_s)
        self._taps: dict[str, PortTap] = {}
        self._movements = MovementWatch()
        self._looked_s = -LOOKED_AT_FOR_S
        self._trouble = ""
        self._stack = contextlib.ExitStack()
        self.is_rehearsal = False

    @contextlib.contextmanager
    def listening(self) -> Iterator[None]:
        """Listen to every port while nothing is watched."""
        self._ports.start()
        try:
            yield
        finally:
            self._ports.stop()

    def watched(self, layout: Layout) -> None:
        """This is watched from now on."""
        self._layout, self.changed = layout, None
        self._taps = {}

    def close(self) -> None:
        """Unplug the rehearsal board, where it was plugged in."""
        self._stack.close()

    def take(self, step: Step) -> None:
        """A sink of the watch: while somebody changes the layout, its boards are decoded for that too."""
        layout = self._layout
        if layout is None or time.monotonic() - self._looked_s > LOOKED_AT_FOR_S:
            self._taps = {}
            return
        tap = self._taps.get(step.port)
        if tap is None:
            baud = next((board.baud for board in layout.board if board.port == step.port), 0)
            tap = self._taps[step.port] = PortTap(step.port, baud, layout.line_board(step.port), guesses=False)
        tap.feed(step.chunk.data, self._clock.now_s())

    def take_order(self, order: SetupOrder) -> None:
        """Do what the page asks for."""
        self._looked_s = time.monotonic()
        if order.kind == "port":
            self._ports.add(order.port, "as you typed it")
        elif order.kind == "rehearse" and not self.is_rehearsal:
            self._rehearse()
        elif order.kind == "watch":
            self._change()

    def view(self) -> SetupView | None:
        """How boards stand; None while no one looks."""
        if time.monotonic() - self._looked_s > LOOKED_AT_FOR_S:
            return None
        now_s = self._clock.now_s()
        views: dict[str, PortView] = (
            self._ports.views() if self._layout is None else {port: tap.view(now_s) for port, tap in tuple(self._taps.items())}
        )
        self._movements.take(views, now_s)
        return SetupView(
            ports=tuple(views.values()),
            moved=self._movements.latest,
            trouble=self._trouble,
            is_rehearsal=self.is_rehearsal,
            path=self.path,
        )

    def _rehearse(self) -> None:
        from monitor.rehearsal import RehearsalBoard, fernhollow_show  # noqa: PLC0415 - most set-ups need no model

        board = RehearsalBoard(fernhollow_show())
        self._stack.callback(board.stop)
        board.start()
        self.is_rehearsal, self.path = True, self.path.with_name(REHEARSED)
        self._ports.add(board.port, REHEARSAL)

    def _change(self) -> None:
        try:
            layout = load_layout(self.path)
            check_isolation(layout, source=str(self.path))
        except LayoutError as error:
            self._trouble = str(error)
            return
        self._trouble = ""
        if self._layout is None or _is_watched_otherwise(self._layout, layout):
            self.changed = layout


def _is_watched_otherwise(before: Layout, after: Layout) -> bool:
    """Whether a change matters to watching; loads and the bench check are for planning, whose pages read the file."""

    def watched(layout: Layout) -> Layout:
        supplies = tuple(msgspec.structs.replace(supply, condition=None) for supply in layout.supply)
        return msgspec.structs.replace(layout, supply=supplies, load=())

    return watched(before) != watched(after)
