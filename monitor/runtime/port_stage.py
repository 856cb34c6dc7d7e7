"""First stage, one for each port: bytes in, items out, with what is known of when they came."""

import copy
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Board
from monitor.values import Chunk, Identity, JoinedChunk, LineReadings, joined_lines
from monitor.values.arrays import Floats
from monitor.wire import Item, SampleRun, WireDecoder
from monitor.wire.thresholds import SMALL_STEP_MS

_LINES = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """Items of one port that came together.

    Attributes:
        items: In their order.
        received_s: Host time at which the last byte had come; None where that is not known.
        is_timed: Whether the host time belongs to the last of the items.
        pieces: Of bytes that were joined: how many readings of lines had come with each piece, and the host time of each.
    """

    items: Sequence[Item]
    received_s: float | None = None
    is_timed: bool = False
    pieces: tuple[NDArray[np.intp], Floats] | None = None


class PortStage:
    """Understands the bytes of one port.

    Args:
        line_board: The board of the layout file whose lines are mapped on this port; None where none is.
    """

    def __init__(self, line_board: Board | None) -> None:
        self._decoder = WireDecoder(line_board)
        self._gathering = PortItems()
        lines = None if line_board is None else line_board.lines
        self._has_clock = lines is None or lines.time_ms is not None

    @property
    def unexplained_bytes(self) -> int:
        """Bytes so far that belong to nothing."""
        return self._decoder.unexplained_bytes

    def take(self, chunk: Chunk) -> list[Arrival]:
        """What a chunk holds: all at once, but piece by piece where only the pieces tell when something was."""
        if not isinstance(chunk, JoinedChunk):
            items = self._gathering.gathered(self._decoder.feed(chunk.data))
            return [Arrival(items=items, received_s=chunk.received_s, is_timed=True)]
        before = copy.deepcopy(self._decoder)
        items = self._gathering.gathered(self._decoder.feed(chunk.data))
        is_lines = self._decoder.form == "lines"
        counts = readings_with(chunk, items, before.offset) if is_lines else None
        if self._gathering.fell_back or (is_lines and (counts is None or not self._has_clock)):
            self._decoder = before
            return [arrival for piece in chunk.pieces() for arrival in self.take(piece)]
        pieces = None if counts is None else (counts, chunk.came_s)
        return [Arrival(items=items, received_s=chunk.received_s, is_timed=chunk.is_prompt, pieces=pieces)]

    def finish(self) -> Arrival:
        """The stream ends: what was held back."""
        return Arrival(items=self._decoder.finish())


class PortItems:
    """Follows the items of one port.

    Attributes:
        fell_back: Whether numbers fell back among the last items: then a board may have restarted.
    """

    def __init__(self) -> None:
        self._identity: Identity | None = None
        self._reached: dict[int, int] = {}
        self.fell_back = False

    def gathered(self, items: Sequence[Item]) -> list[Item]:
        """Take the next items.

        Returns:
            The same, but readings of lines in one block where between them the board only said again who it is; that once, before them.
        """
        found: list[Item] = []
        waiting: list[LineReadings] = []
        at = 0
        for item in items:
            if isinstance(item, LineReadings):
                waiting.append(item)
            elif isinstance(item, Identity) and item == self._identity:
                found[at:] = [item]
            else:
                found += [joined_lines(waiting)] if waiting else []
                waiting = []
                found.append(item)
                at = len(found)
                self._identity = item if isinstance(item, Identity) else self._identity
        found += [joined_lines(waiting)] if waiting else []
        self._watch(found)
        return found

    def _watch(self, items: Sequence[Item]) -> None:
        self.fell_back = False
        for item in items:
            if isinstance(item, LineReadings):
                times_ms = item.times_ms
                step_ms = int(times_ms[0]) - self._reached.get(_LINES, 0)
                self.fell_back |= step_ms < -SMALL_STEP_MS or bool((times_ms[1:] - times_ms[:-1] < -SMALL_STEP_MS).any())
                self._reached[_LINES] = int(times_ms[-1])
            elif isinstance(item, SampleRun):
                self.fell_back |= item.first_scan < self._reached.get(item.number, 0)
                self._reached[item.number] = item.first_scan


def readings_with(chunk: JoinedChunk, items: Sequence[Item], offset: int) -> NDArray[np.intp] | None:
    """How many readings of lines had come with each piece of a chunk, shape (n,); None where there was none.

    Args:
        chunk: Bytes of a line board.
        items: What they were understood as.
        offset: Bytes of its stream before them.
    """
    ends = [item.ends for item in items if isinstance(item, LineReadings)]
    return np.searchsorted(np.concatenate(ends), offset + chunk.ends, side="right") if ends else None
