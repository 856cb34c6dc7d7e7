"""Which of the two forms a stream has, found from the bytes themselves."""

from typing import Literal

from monitor.layout import Board
from monitor.values import Identity, LineReadings
from monitor.wire.items import Fault, Item
from monitor.wire.lines import LineDecoder
from monitor.wire.mapped_lines import MappedLines
from monitor.wire.packed import PackedDecoder


class WireDecoder:
    """Takes either form: both decoders listen until one of them has understood something whole.

    A packed stream has zero bytes and a line stream has none, but noise may hold anything, so the proof is a packet with a right
    CRC or a line of the form, whichever ended first. Faults met before that are those of the form that won; a packet or line that
    the listening broke into, before the first delimiter, is none of them.

    Attributes:
        form: "packed" or "lines" once known, else None.
    """

    def __init__(self, line_board: Board | None = None) -> None:
        self._packed = PackedDecoder()
        self._lines = LineDecoder(None if line_board is None else MappedLines(line_board))
        self._early: dict[str, list[Item]] = {"packed": [], "lines": []}
        self.form: Literal["packed", "lines"] | None = None

    @property
    def offset(self) -> int:
        """Bytes taken in so far."""
        return max(self._packed.offset, self._lines.offset)

    @property
    def unexplained_bytes(self) -> int:
        """Bytes taken in while no form is known: many of them mean a wrong baud rate, or no sensor board at all."""
        return 0 if self.form else self.offset

    def feed(self, data: bytes) -> list[Item]:
        """Take bytes in, cut anywhere; items in stream order."""
        if self.form == "packed":
            return self._packed.feed(data)
        if self.form == "lines":
            return self._lines.feed(data)
        return self._listen(data)

    def finish(self) -> list[Item]:
        """The stream ends: what its end makes whole."""
        return self._lines.finish() if self.form == "lines" else []

    def _listen(self, data: bytes) -> list[Item]:
        # Short pieces, so that the decision falls at the same place however the stream was cut: pieces end at the only bytes
        # that can end a packet or a line.
        items: list[Item] = []
        start = 0
        while start < len(data) and self.form is None:
            end = _next_end(data, start)
            self._listen_piece(data[start:end], items)
            start = end
        if start < len(data):
            items += self.feed(data[start:])
        return items

    def _listen_piece(self, piece: bytes, items: list[Item]) -> None:
        found: dict[str, list[Item]] = {"packed": self._packed.feed(piece), "lines": self._lines.feed(piece)}
        understood_packed = self._packed.packets > 0
        understood_lines = any(isinstance(item, Identity | LineReadings) for item in found["lines"])
        for form, new in found.items():
            early = self._early[form]
            early += [item for item in new if not isinstance(item, Fault)] or new[: _EARLY_FAULTS_LIMIT - len(early)]
        if understood_packed or understood_lines:
            self.form = "packed" if understood_packed else "lines"
            items += [item for item in self._early[self.form] if not _is_broken_into(item)]
            self._early = {"packed": [], "lines": []}


def _is_broken_into(item: Item) -> bool:
    """True for damage that begins with the first byte of all: the board was talking already."""
    return isinstance(item, Fault) and item.kind.is_damage and item.offset <= item.size + 1


_EARLY_FAULTS_LIMIT = 1000
"""Faults remembered while no form is known; more of them would say nothing new."""


def _next_end(data: bytes, start: int) -> int:
    ends = [position + 1 for position in (data.find(b"\0", start), data.find(b"\n", start)) if position >= 0]
    return min(ends, default=len(data))
