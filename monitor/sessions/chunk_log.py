"""The chunk log of one part of a session, as arrays."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

STEPS_HEAD = b"step,port,bytes,received_s,reopened\n"
COLUMNS = 5
COMMA, NEWLINE = b",\n"
LAST = np.arange(COLUMNS) == COLUMNS - 1
_Row = tuple[int, int, int, float, bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChunkLog:
    """Chunks in the order they came, n of them; every array has shape (n,).

    Attributes:
        steps: Number of the step that each belongs to.
        ports: Number of its port.
        sizes: How many bytes it has, at least 0.
        received_s: Host seconds when it arrived; NaN where nobody knows.
        reopened: Whether the port was opened anew before it.
    """

    steps: NDArray[np.int64]
    ports: NDArray[np.int64]
    sizes: NDArray[np.int64]
    received_s: NDArray[np.float64]
    reopened: NDArray[np.bool_]

    def __len__(self) -> int:
        """How many chunks."""
        return len(self.steps)


def parsed_log(text: bytes) -> ChunkLog:
    """The rows of a chunk log; what damage left of others is passed over, and so is a last line that has no end."""
    lines = text[: text.rfind(b"\n") + 1].removeprefix(STEPS_HEAD)
    try:
        return _at_once(lines)
    except (ValueError, OverflowError):
        return log_of(row for line in lines.split(b"\n") if (row := _parsed(line)) is not None)


def log_of(rows: Iterable[_Row]) -> ChunkLog:
    """Rows of step, port, bytes, arrival (NaN where nobody knows) and whether the port was opened anew."""
    columns = list(zip(*rows, strict=True)) or [()] * COLUMNS
    return ChunkLog(
        steps=np.array(columns[0], dtype=np.int64),
        ports=np.array(columns[1], dtype=np.int64),
        sizes=np.maximum(np.array(columns[2], dtype=np.int64), 0),
        received_s=np.array(columns[3], dtype=np.float64),
        reopened=np.array(columns[4], dtype=bool),
    )


def _at_once(lines: bytes) -> ChunkLog:
    """A log whose every line is whole.

    Raises:
        ValueError: One is not.
        OverflowError: A figure is beyond all sense.
    """
    characters = np.frombuffer(lines, dtype=np.uint8)
    marks = characters[(characters == COMMA) | (characters == NEWLINE)]
    if len(marks) % COLUMNS or ((marks.reshape(-1, COLUMNS) == NEWLINE) != LAST).any():
        raise ValueError("lines of other lengths")
    cells = lines.replace(b"\n", b",").split(b",")[:-1]
    received_s = np.array([float(cell) if cell else math.nan for cell in cells[3::COLUMNS]])
    if np.isinf(received_s).any():
        raise ValueError("no time")
    return ChunkLog(
        steps=np.array(list(map(int, cells[0::COLUMNS])), dtype=np.int64),
        ports=np.array(list(map(int, cells[1::COLUMNS])), dtype=np.int64),
        sizes=np.maximum(np.array(list(map(int, cells[2::COLUMNS])), dtype=np.int64), 0),
        received_s=received_s,
        reopened=np.array([cell == b"1" for cell in cells[4::COLUMNS]], dtype=bool),
    )


def _parsed(line: bytes) -> _Row | None:
    """One row; None for what damage left."""
    cells = line.split(b",")
    try:
        row = (int(cells[0]), int(cells[1]), int(cells[2]), float(cells[3]) if cells[3] else math.nan, cells[4:5] == [b"1"])
        np.array(row[:3], dtype=np.int64)
    except (ValueError, IndexError, OverflowError):
        return None
    return None if math.isinf(row[3]) else row
