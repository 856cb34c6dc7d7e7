"""The grid: readings of every half cycle become one row every half second."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.bus.payloads import GRID_S
from monitor.values import ReadingBlock
from monitor.values.arrays import Floats
from monitor.values.grid import REDUCTIONS, rows_of

GRACE_S = 0.06
"""A row is closed so long after its end: bytes arrive late by some tens of milliseconds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One half second of every district that said something in it.

    Attributes:
        number: Its place on the grid.
        volts: RMS volts over the row; NaN where nothing is known, like all below.
        amps: RMS amps.
        amps_highest: Highest one-cycle amps.
        watts: Mean watts.
        doubtful: True where a sensor is known to lie.
        clipped: True where volts or amps are lower bounds.
    """

    number: int
    districts: tuple[str, ...]
    volts: Floats
    amps: Floats
    amps_highest: Floats
    watts: Floats
    doubtful: NDArray[np.bool_]
    clipped: NDArray[np.bool_]


class Grid:
    """Collects reading blocks of all boards of a station."""

    def __init__(self) -> None:
        self._waiting: dict[int, dict[str, list[ReadingBlock]]] = {}
        self._closed = 0

    def add(self, block: ReadingBlock) -> None:
        """Take a block; what belongs to a closed row comes too late for the bus (the recording has it)."""
        numbers = rows_of(block.end_s, GRID_S)
        for number in np.unique(numbers[numbers >= self._closed]).tolist():
            boards = self._waiting.setdefault(number, {})
            boards.setdefault(block.board, []).append(block.where(numbers == number))

    def close(self, now_s: float) -> list[Row]:
        """The rows that are complete by now."""
        self._closed = max(self._closed, int((now_s - GRACE_S) / GRID_S))
        done = sorted(number for number in self._waiting if number < self._closed)
        return [_row(number, self._waiting.pop(number)) for number in done]


def _row(number: int, boards: dict[str, list[ReadingBlock]]) -> Row:
    def of(name: str, how: str) -> Floats:
        whole = (np.concatenate([getattr(block, name) for block in blocks]) for blocks in boards.values())
        return np.concatenate([REDUCTIONS[how](values, np.zeros(1, np.intp))[0] for values in whole])

    def marked(marks: Callable[[ReadingBlock], list[NDArray[np.bool_] | None]]) -> NDArray[np.bool_]:
        found = [[mark for block in blocks for mark in marks(block)] for blocks in boards.values()]
        return np.concatenate([_any(each, len(blocks[0].districts)) for each, blocks in zip(found, boards.values(), strict=True)])

    return Row(
        number=number,
        districts=tuple(name for blocks in boards.values() for name in blocks[0].districts),
        volts=of("volts_rms", "rms"),
        amps=of("amps_rms", "rms"),
        amps_highest=of("amps_rms", "highest"),
        watts=of("watts", "mean"),
        doubtful=marked(lambda block: [None if block.good is None else ~block.good]),
        clipped=marked(lambda block: [block.volts_clipped, block.amps_clipped]),
    )


def _any(marks: list[NDArray[np.bool_] | None], districts: int) -> NDArray[np.bool_]:
    """Where any of some marks of rows holds, shape (districts,)."""
    found = np.zeros(districts, dtype=np.bool_)
    for each in marks:
        if each is not None:
            found |= each.any(axis=0)
    return found
