"""Streams of lines, decoded a chunk at a time, whatever the lines say: see ``reading_lines`` and ``mapped_lines`` for what they may say."""

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from monitor.values import Identity, LineReadings, joined_lines
from monitor.wire.framing import Framer
from monitor.wire.items import Fault, FaultKind, Item
from monitor.wire.reading_lines import ReadingLines

BLOCK_LINES = 256
"""So many lines are read at once: of more, the interpreter's own looking after its tuples takes longer than the reading."""

Row = Sequence[float]
Ends = NDArray[np.int64]


class LineGrammar(Protocol):
    """What lines may say. Nothing but :meth:`taken` and :meth:`missed` changes it, so that results do not depend on the cutting.

    Attributes:
        limit_bytes: A longer line is dropped up to its end.
        ends_open: Whether the last line of a stream may lack its end.
    """

    limit_bytes: int
    ends_open: bool

    def read_many(self, text: bytes) -> Sequence[Row] | None:
        """The rows of a text of whole lines, all of one length; None, or fewer or more than lines, where not each is a plain row."""

    def read_one(self, line: bytes) -> Row | Identity | FaultKind | str | None:
        """One line without its end: a row, an identity, what is wrong with it (in words where they say more), or None: no matter."""

    def taken(self, rows: Sequence[Row], ends: Ends) -> list[Item]:
        """Rows of one length that follow each other, and where their lines end in the stream, as items."""

    def missed(self) -> None:
        """A line was damaged."""


class LineDecoder:
    """Bytes in, items out; never raises, whatever the bytes.

    All lines of a chunk are read at once where each is a plain row. Where one is not, the halves are, down to the odd line, which is
    read by itself.
    """

    def __init__(self, grammar: LineGrammar | None = None) -> None:
        self._grammar = grammar or ReadingLines()
        self._framer = Framer(delimiter=b"\n", limit_bytes=self._grammar.limit_bytes)
        self._rows: list[Row] = []
        self._ends: list[Ends] = []

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
        ends = np.flatnonzero(np.frombuffer(text, dtype=np.uint8) == _LINE_FEED) + 1
        start = 0
        for some in (ends[at : at + BLOCK_LINES] for at in range(0, len(ends), BLOCK_LINES)):
            end = int(some[-1])
            self._read(text[start:end], some - start, position + start, items)
            self._flush(items)
            start = end
        return _with_readings_joined(items)

    def finish(self) -> list[Item]:
        """The stream ends: the last line, where it may lack its end and is whole otherwise."""
        line, items = self._framer.rest(), list[Item]()
        made = self._grammar.read_one(line) if line and self._grammar.ends_open else None
        if isinstance(made, Sequence) and not isinstance(made, str):
            self._rows.append(made)
            self._ends.append(np.array([self.offset]))
            self._flush(items)
        return items

    def _read(self, text: bytes, ends: Ends, position: int, items: list[Item]) -> None:
        """Lines of a text that begins at this byte of the stream and whose lines end at these bytes of it."""
        rows = self._grammar.read_many(text)
        if rows is not None and len(rows) == len(ends) and self._are_short(ends):
            self._take(rows, ends + position, items)
        elif len(ends) == 1:
            self._read_line(text[:-1], position + len(text), items)
        else:
            half = len(ends) // 2
            at = int(ends[half - 1])
            self._read(text[:at], ends[:half], position, items)
            self._read(text[at:], ends[half:] - at, position + at, items)

    def _are_short(self, ends: Ends) -> bool:
        most = self._grammar.limit_bytes + 1
        return int(ends[0]) <= most and (len(ends) == 1 or int((ends[1:] - ends[:-1]).max()) <= most)

    def _read_line(self, line: bytes, end: int, items: list[Item]) -> None:
        made = self._grammar.read_one(line) if len(line) <= self._grammar.limit_bytes else FaultKind.TOO_LONG
        if isinstance(made, Identity):
            self._flush(items)
            items.append(made)
        elif isinstance(made, FaultKind | str):
            self._miss(made, end, len(line), items)
        elif made is not None:
            self._take([made], np.array([end]), items)

    def _miss(self, wrong: FaultKind | str, end: int, size: int, items: list[Item]) -> None:
        self._flush(items)
        self._grammar.missed()
        kind, detail = (wrong, "") if isinstance(wrong, FaultKind) else (FaultKind.SYNTAX, wrong)
        items.append(Fault(kind=kind, offset=end, size=size, detail=detail))

    def _take(self, rows: Sequence[Row], ends: Ends, items: list[Item]) -> None:
        if self._rows and len(rows[0]) != len(self._rows[0]):
            self._flush(items)
        self._rows += rows
        self._ends.append(ends)

    def _flush(self, items: list[Item]) -> None:
        if not self._rows:
            return
        made = self._grammar.taken(self._rows, np.concatenate(self._ends) if len(self._ends) > 1 else self._ends[0])
        self._rows, self._ends = [], []
        items += made


def _with_readings_joined(items: list[Item]) -> list[Item]:
    """Readings that follow each other in one."""
    found: list[Item] = []
    readings: list[LineReadings] = []
    for item in [*items, None]:
        if isinstance(item, LineReadings):
            readings.append(item)
            continue
        found += [joined_lines(readings)] if readings else []
        found += [] if item is None else [item]
        readings = []
    return found


_LINE_FEED = 0x0A
