"""Items of one port, made fewer: what a line board says over and over is taken once, and what begins anew is found."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from monitor.values import Identity, JoinedChunk, LineReadings, joined_lines
from monitor.wire import Item, SampleRun
from monitor.wire.timeline import SMALL_STEP_MS

_LINES = -1


class PortItems:
    """Follows the items of one port.

    Attributes:
        fell_back: Whether numbers fell back among the last items: then a board may have begun anew.
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
