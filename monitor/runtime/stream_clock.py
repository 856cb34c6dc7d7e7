"""Board time to stream time."""

from typing import Protocol

import numpy as np
from numpy.typing import NDArray


class StreamClock(Protocol):
    """Maps one board's seconds to the stream's; must never map a later moment before an earlier one."""

    def observe(self, board_s: float, received_s: float | None) -> None:
        """Bytes that end at this board time arrived at this host time."""

    def to_stream(self, board_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Stream seconds of board seconds; any shape."""

    def board_at(self, received_s: float | None) -> float | None:
        """About which board time belongs to a host time; None where nothing is known of that."""

    @property
    def drift(self) -> float:
        """Stream seconds a board second, as the board's own clock drifts over minutes; what bends the mapping for moments is left out."""

    def reanchor(self, board_s: float) -> None:
        """From this board time on (none was seen beyond it) the board counts anew: the mapping may leap, forwards only."""


class BoardTime:
    """The clock of captures: the stream's time is the board's own."""

    def observe(self, board_s: float, received_s: float | None) -> None:
        """Nothing to learn."""

    def to_stream(self, board_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """The same seconds."""
        return board_s

    def board_at(self, received_s: float | None) -> float | None:
        """A capture does not know when its bytes arrived."""
        del received_s
        return None

    @property
    def drift(self) -> float:
        """None."""
        return 1.0

    def reanchor(self, board_s: float) -> None:
        """Board time goes on as it is."""
