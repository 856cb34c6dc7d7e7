"""Which board of the layout file hangs on which port."""

from collections.abc import Iterable

from monitor.layout import Board, Layout
from monitor.values import Identity

Place = tuple[str, int]
"""Port and number on the wire."""

LEFT_AFTER_S = 1.5
"""A board that was not heard on its port for this long may turn up on another: boards speak at least once a second."""


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
        free = [board for board in self._layout.board if not self._is_heard_elsewhere(board.name, place)]
        if identity is not None and any(board.name == identity.name for board in free):
            return identity.name
        expected_here = any(board.port == port for board in self._layout.board)
        return _first(b for b in free if b.number == number and (b.port == port or not expected_here))

    def _is_heard_elsewhere(self, name: str, place: Place) -> bool:
        for at, known in self._name_at.items():
            if known == name and at != place:
                return at[0] == place[0] or not self._has_left(at[0], place[0])
        return False

    def _has_left(self, port: str, now_at: str) -> bool:
        heard_s, now_s = self._heard_s.get(port), self._heard_s.get(now_at)
        return heard_s is not None and now_s is not None and now_s - heard_s > LEFT_AFTER_S


def _first(boards: Iterable[Board]) -> str | None:
    return next((board.name for board in boards), None)
