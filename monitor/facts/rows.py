"""The last seconds of readings at full resolution, for the edges of what was found."""

from typing import NamedTuple

import numpy as np

from monitor.values import ReadingBlock
from monitor.values.arrays import Floats

KEPT_S = 20.0  # more than the longest wait for a decision and the look back from it


class Cut(NamedTuple):
    """Readings of one district between two moments, each of shape (n,)."""

    start_s: Floats
    end_s: Floats
    volts: Floats
    amps: Floats
    offset_volts: Floats


class Rows:
    """Readings of all districts, the last ones only."""

    def __init__(self, districts: tuple[str, ...]) -> None:
        self._districts = districts
        self._boards: dict[str, _BoardRows] = {}
        self._place: dict[str, tuple[_BoardRows, int]] = {}

    def take(self, block: ReadingBlock) -> None:
        """Keep a block."""
        board = self._boards.get(block.board)
        if board is None:
            board = self._boards[block.board] = _BoardRows()
            self._place.update({name: (board, column) for column, name in enumerate(block.districts)})
        board.take(block)

    def forget(self, tick_end_s: float) -> None:
        """Let go of readings that no decision after this moment looks at."""
        for board in self._boards.values():
            board.forget(tick_end_s - KEPT_S)

    def cut(self, district: int, start_s: float, end_s: float) -> Cut:
        """Readings of one district whose windows end in (start_s, end_s]."""
        place = self._place.get(self._districts[district])
        if place is None:
            return _NOTHING
        return place[0].cut(place[1], start_s, end_s)


_NOTHING = Cut(*(np.zeros(0) for _ in range(5)))


class _BoardRows:
    def __init__(self) -> None:
        self._blocks: list[ReadingBlock] = []
        self._joined: tuple[Floats, ...] | None = None

    def take(self, block: ReadingBlock) -> None:
        self._blocks.append(block)
        self._joined = None

    def forget(self, before_s: float) -> None:
        while self._blocks and self._blocks[0].end_s[-1] < before_s:
            del self._blocks[0]
            self._joined = None

    def cut(self, column: int, start_s: float, end_s: float) -> Cut:
        if not self._blocks:
            return _NOTHING  # silent for so long that all of it was let go, while others went on
        if self._joined is None:
            names = ("start_s", "end_s", "volts_rms", "amps_rms", "volts_mean")
            self._joined = tuple(np.concatenate([getattr(block, name) for block in self._blocks]) for name in names)
        starts, ends, volts, amps, offsets = self._joined
        low, high = np.searchsorted(ends, [start_s + 1e-9, end_s + 1e-9]).tolist()
        rows = slice(low, high)
        return Cut(starts[rows], ends[rows], volts[rows, column], amps[rows, column], offsets[rows, column])
