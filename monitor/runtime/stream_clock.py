"""Board time to stream time."""

from dataclasses import replace
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from monitor.metering import Trouble
from monitor.values import AggregateBlock, Disturbance, ReadingBlock, SampleBlock

_Block = TypeVar("_Block", ReadingBlock, AggregateBlock)
_Span = TypeVar("_Span", Disturbance, Trouble)


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
        """From this board time on (none was seen beyond it) the board starts counting again: the mapping may leap, forwards only."""


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


def stream_s(clock: StreamClock, board_s: float) -> float:
    """One moment."""
    return float(clock.to_stream(np.array(board_s)))


def block_in_stream(clock: StreamClock, block: _Block) -> _Block:
    """Figures over windows."""
    return replace(block, start_s=clock.to_stream(block.start_s), end_s=clock.to_stream(block.end_s))


def span_in_stream(clock: StreamClock, span: _Span) -> _Span:
    """What began and may have ended."""
    end_s = None if span.end_s is None else stream_s(clock, span.end_s)
    return replace(span, start_s=stream_s(clock, span.start_s), end_s=end_s)


def samples_in_stream(clock: StreamClock, block: SampleBlock) -> SampleBlock:
    """Samples, evenly spaced between their ends."""
    start_s, end_s = clock.to_stream(np.array([block.start_s, block.end_s])).tolist()
    interval_s = (end_s - start_s) / max(1, len(block.counts))
    return replace(block, start_s=start_s, interval_s=interval_s, drift=clock.drift)
