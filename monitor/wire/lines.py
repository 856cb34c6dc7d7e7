"""Streams of lines, decoded a chunk at a time, whatever the lines say: see ``reading_lines`` and ``mapped_lines`` for what they may say."""

import itertools
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from monitor.values import Identity, LineReadings, joined_lines
from monitor.values.arrays import Floats
from monitor.wire import thresholds as th
from monitor.wire.framing import Framer
from monitor.wire.items import Fault, FaultKind, Item
from monitor.wire.line_shapes import LineShapes
from monitor.wire.reading_lines import ReadingLines

Row = tuple[float, ...]


class LineGrammar(Protocol):
    """What lines may say. Nothing but :meth:`taken` and :meth:`missed` changes it, so that results do not depend on the cutting.

    Attributes:
        limit_bytes: A longer line is dropped up to its end.
        ends_open: Whether the last line of a stream may lack its end.
        shapes: Reads lines that differ in their digits only, all at once.
    """

    limit_bytes: int
    ends_open: bool
    shapes: LineShapes

    def plain(self, text: bytes) -> bytes:
        """Whole lines, as many as there are, without what each of them brings besides and is right."""

    def read_one(self, line: bytes) -> Row | Identity | FaultKind | str | None:
        """One line without its end: a row, an identity, what is wrong with it (in words where they say more), or None: no matter."""

    def taken(self, rows: Floats, ends: NDArray[np.int64]) -> list[Item]:
        """Rows that follow each other, and where their lines end in the stream, as items."""

    def missed(self) -> None:
        """A line was damaged."""


class LineDecoder:
    """Bytes in, items out; never raises, whatever the bytes.

    Lines of the same shape are read at once, the others one by one.
    """

    def __init__(self, grammar: LineGrammar | None = None) -> None:
        self._grammar = grammar or ReadingLines()
        self._framer = Framer(delimiter=b"\n", limit_bytes=self._grammar.limit_bytes)

    @property
    def offset(self) -> int:
        """Bytes taken in so far."""
        return self._framer.offset

    def feed(self, data: bytes) -> list[Item]:
        """Take bytes in, cut anywhere.

        Returns:
            Items in stream order; readings that follow each other come together, as far as this chunk goes.
        """
        text, position, skipped_bytes = self._framer.feed(data)
        items: list[Item] = []
        if skipped_bytes:
            size = text.index(b"\n")
            position += size + 1
            self._miss(FaultKind.TOO_LONG, position, size + skipped_bytes, items)
            text = text[size + 1 :]
        while text:
            block = text if len(text) <= th.BLOCK_BYTES else text[: text.rfind(b"\n", 0, th.BLOCK_BYTES) + 1] or text
            self._read(block, position, items)
            position += len(block)
            text = text[len(block) :]
        return _with_readings_joined(items)

    def finish(self) -> list[Item]:
        """The stream ends: the last line, where it may lack its end and is whole otherwise."""
        line = self._framer.rest()
        made = self._grammar.read_one(line) if line and self._grammar.ends_open else None
        return self._grammar.taken(np.array([made]), np.array([self.offset])) if isinstance(made, tuple) else []

    def _read(self, text: bytes, position: int, items: list[Item]) -> None:
        """Whole lines that begin at this byte of the stream."""
        ends = (np.frombuffer(text, dtype=np.uint8) == ord("\n")).nonzero()[0] + 1
        table, is_row = self._grammar.shapes.read(self._grammar.plain(text), len(ends))
        starts, after, position_of = np.zeros_like(ends), 0, ends + position
        starts[1:] = ends[:-1]
        is_row &= ends - starts <= self._grammar.limit_bytes + 1
        for k in (~is_row).nonzero()[0].tolist():
            line = text[starts[k] : ends[k] - 1]
            made = self._grammar.read_one(line) if len(line) <= self._grammar.limit_bytes else FaultKind.TOO_LONG
            if isinstance(made, tuple):
                table[k] = made
                continue
            self._take(table[after:k], position_of[after:k], items)
            after = k + 1
            if isinstance(made, Identity):
                items.append(made)
            elif isinstance(made, FaultKind | str):
                self._miss(made, int(position_of[k]), len(line), items)
        self._take(table[after:], position_of[after:], items)

    def _take(self, rows: Floats, ends: NDArray[np.int64], items: list[Item]) -> None:
        if len(rows):
            items += self._grammar.taken(rows, ends)

    def _miss(self, wrong: FaultKind | str, end: int, size: int, items: list[Item]) -> None:
        self._grammar.missed()
        kind, detail = (wrong, "") if isinstance(wrong, FaultKind) else (FaultKind.SYNTAX, wrong)
        items.append(Fault(kind=kind, offset=end, size=size, detail=detail))


def _with_readings_joined(items: list[Item]) -> list[Item]:
    """Readings that follow each other in one."""
    if len(items) < 2:
        return items
    groups = itertools.groupby(items, key=lambda item: isinstance(item, LineReadings))
    return [item for are_lines, group in groups for item in ([joined_lines(list(group))] if are_lines else group)]  # type: ignore[arg-type]
