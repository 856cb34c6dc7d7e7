"""Second stage: the boards of the layout file, found by the items that come from the ports."""

import itertools
from collections.abc import Callable, Iterable

from monitor.layout import Board, Layout
from monitor.runtime.board_stage import BoardStage, Drained
from monitor.runtime.port_stage import Arrival
from monitor.runtime.stream_clock import StreamClock
from monitor.values import BoardSeen, Health, Identity
from monitor.wire import Item, SampleRun

Place = tuple[str, int]
"""Port and number on the wire."""

LEFT_AFTER_S = 1.5
"""A board that was not heard on its port for this long may turn up on another: boards speak at least once a second."""


class Boards:
    """Items of all ports in, figures of all boards in stream time out.

    Args:
        layout: The layout file.
        clock_for_board: Makes the clock that maps a board's time to the stream's.
        intervals: Whether readings carry their intervals.

    Attributes:
        now_s: Stream time reached.
    """

    def __init__(self, layout: Layout, clock_for_board: Callable[[str], StreamClock], *, intervals: bool = False) -> None:
        self._intervals = intervals
        self.now_s = 0.0
        self._layout = layout
        self._clock_for_board = clock_for_board
        self._places = BoardPlaces(layout)
        self._stages: dict[str, BoardStage] = {}
        self._port_of: dict[str, str] = {}
        self._touched: dict[str, BoardStage] = {}
        self._drained = Drained()
        self._finding_ids = itertools.count(1)

    def take(self, port: str, arrival: Arrival) -> None:
        """Take what came from a port."""
        if arrival.received_s is not None:
            self._places.heard(port, arrival.received_s)
        for item in arrival.items:
            self._take_item(port, item, arrival.received_s)
        for stage in self._on(port):
            if arrival.pieces is not None:
                stage.observe_pieces(*arrival.pieces)
            elif arrival.is_timed:
                stage.observe(arrival.received_s)

    def reopen(self, port: str, received_s: float | None) -> None:
        """The port was lost and is open again."""
        for name in self._places.left(port):
            if name in self._stages:
                self._stages[name].reopen(received_s)

    def finish(self) -> None:
        """No more will come."""
        self._touched = dict(self._stages)
        for stage in self._stages.values():
            stage.finish()

    def drain(self) -> Drained:
        """What came of all boards since the last call."""
        drained, touched = self._drained, self._touched.values()
        self._drained, self._touched = Drained(), {}
        for stage in touched:
            drained.add(stage.drain())
        self.now_s = max([self.now_s, *(stage.now_s for stage in touched)])
        return drained

    def _take_item(self, port: str, item: Item, received_s: float | None) -> None:
        stage = self._stage(port, item, received_s)
        if stage is not None:
            self._touched[stage.name] = stage
            stage.take(item, received_s)
        if isinstance(item, Identity):
            name, missing = (None, ()) if stage is None else (stage.name, stage.missing_channels)
            self._drained.boards.append(BoardSeen(board=name, identity=item, missing_channels=missing))
        elif isinstance(item, Health):
            self._drained.healths.append(item)

    def _on(self, port: str) -> list[BoardStage]:
        return [self._stages[name] for name in self._places.names_on(port) if name in self._stages]

    def _stage(self, port: str, item: Item, received_s: float | None) -> BoardStage | None:
        """The stage of a board; of the first board of the port for items that carry no number (lines, faults)."""
        number = item.number if isinstance(item, Identity | SampleRun | Health) else None
        if number is None and (on_port := self._on(port)):
            return on_port[0]
        name = self._places.find((port, number or 0), item if isinstance(item, Identity) else None)
        if name is None:
            return None
        stage = self._stages.get(name)
        if stage is None:
            stage = self._stages[name] = BoardStage(
                self._layout, name, self._clock_for_board(name), self._finding_ids, intervals=self._intervals
            )
        elif self._port_of.get(name) != port:
            stage.reopen(received_s)
        self._port_of[name] = port
        return stage


class BoardPlaces:
    """Finds boards by the name they give themselves, else by port and number; follows them when plugs are swapped."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._name_at: dict[Place, str | None] = {}
        self._heard_s: dict[str, float | None] = {}

    def heard(self, port: str, received_s: float | None) -> None:
        """Bytes came from a port."""
        self._heard_s[port] = received_s

    def left(self, port: str) -> list[str]:
        """The port was lost: which boards were on it. Another may be there when it is back."""
        names = self.names_on(port)
        self._name_at = {place: name for place, name in self._name_at.items() if place[0] != port}
        return names

    def names_on(self, port: str) -> list[str]:
        """Boards on a port, sorted."""
        return sorted(name for (on, _), name in self._name_at.items() if on == port and name is not None)

    def find(self, place: Place, identity: Identity | None) -> str | None:
        """The board at a place; an identity may show that it is another than was thought."""
        if identity is not None or self._name_at.get(place) is None:
            name = self._look(place, identity)
            if name is not None:
                self._name_at = {at: known for at, known in self._name_at.items() if known != name}
            self._name_at[place] = name
        return self._name_at[place]

    def _look(self, place: Place, identity: Identity | None) -> str | None:
        """The name that a board gives itself goes first, then the port and number, then the number alone.

        A board that is heard at another place is not here.
        """
        port, number = place
        free = [board for board in self._layout.board if not self._is_elsewhere(board.name, place)]
        if identity is not None and any(board.name == identity.name for board in free):
            return identity.name
        expected_here = any(board.port == port for board in self._layout.board)
        return _first(b for b in free if b.number == number and (b.port == port or not expected_here))

    def _is_elsewhere(self, name: str, place: Place) -> bool:
        for at, known in self._name_at.items():
            if known == name and at != place:
                return at[0] == place[0] or not self._has_left(at[0], place[0])
        return False

    def _has_left(self, port: str, now_at: str) -> bool:
        heard_s, now_s = self._heard_s.get(port), self._heard_s.get(now_at)
        return heard_s is not None and now_s is not None and now_s - heard_s > LEFT_AFTER_S


def _first(boards: Iterable[Board]) -> str | None:
    return next((board.name for board in boards), None)
