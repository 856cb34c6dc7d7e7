"""Which form a stream has, found from the bytes themselves."""

from typing import Literal

from monitor.layout import Board
from monitor.values import Identity, LineReadings
from monitor.wire import thresholds as th
from monitor.wire.items import Fault, Item
from monitor.wire.lines import LineDecoder
from monitor.wire.mapped_lines import MappedLines
from monitor.wire.packed import PackedDecoder


class WireDecoder:
    """Takes any form: all decoders listen until one of them has understood something whole.

    A packed stream has zero bytes and a line stream has none, but noise may hold anything, so the proof is a packet with a right
    CRC or a line of the form, whichever ended first. Faults met before that are those of the form that won; a packet or line that
    the listening broke into, before the first delimiter, is none of them.

    Args:
        line_board: The board that prints lines of its own there; where it speaks another form, that is understood too.

    Attributes:
        form: "packed" or "lines" once known, else None.
    """

    def __init__(self, line_board: Board | None = None) -> None:
        # In order: what the layout file says of the lines goes first.
        self._listening: list[tuple[PackedDecoder | LineDecoder, list[Item]]] = [(PackedDecoder(), [])]
        if line_board is not None:
            self._listening.append((LineDecoder(MappedLines(line_board)), []))
        self._listening.append((LineDecoder(), []))
        self._decoder: PackedDecoder | LineDecoder | None = None
        self.form: Literal["packed", "lines"] | None = None

    @property
    def offset(self) -> int:
        """Bytes taken in so far."""
        return (self._decoder or self._listening[0][0]).offset

    @property
    def unexplained_bytes(self) -> int:
        """Bytes taken in while no form is known: many of them mean a wrong baud rate, or no sensor board at all."""
        return 0 if self.form else self.offset

    def feed(self, data: bytes) -> list[Item]:
        """Take bytes in, cut anywhere; items in stream order."""
        return self._listen(data) if self._decoder is None else self._decoder.feed(data)

    def finish(self) -> list[Item]:
        """The stream ends: what its end makes whole."""
        return self._decoder.finish() if isinstance(self._decoder, LineDecoder) else []

    def _listen(self, data: bytes) -> list[Item]:
        # Short pieces, so that the decision falls at the same place however the stream was cut: pieces end at the only bytes
        # that can end a packet or a line.
        items: list[Item] = []
        start = 0
        while start < len(data) and self._decoder is None:
            end = _next_end(data, start)
            self._listen_piece(data[start:end], items)
            start = end
        if start < len(data):
            items += self.feed(data[start:])
        return items

    def _listen_piece(self, piece: bytes, items: list[Item]) -> None:
        for decoder, early in self._listening:
            new = decoder.feed(piece)
            early.extend([item for item in new if not isinstance(item, Fault)] or new[: th.EARLY_FAULTS - len(early)])
            if self._decoder is None and _has_understood(decoder, new):
                self._decoder = decoder
                self.form = "packed" if isinstance(decoder, PackedDecoder) else "lines"
                items += [item for item in early if not _is_broken_into(item)]
        if self._decoder is not None:
            self._listening = []


def _has_understood(decoder: PackedDecoder | LineDecoder, items: list[Item]) -> bool:
    """Whether something whole came: a packet, or a line that is no comment."""
    if isinstance(decoder, PackedDecoder):
        return decoder.packets > 0
    return any(isinstance(item, Identity | LineReadings) for item in items)


def _is_broken_into(item: Item) -> bool:
    """True for damage that begins with the first byte of all: the board was talking already."""
    return isinstance(item, Fault) and item.kind.is_damage and item.offset <= item.size + 1


def _next_end(data: bytes, start: int) -> int:
    ends = [position + 1 for position in (data.find(b"\0", start), data.find(b"\n", start)) if position >= 0]
    return min(ends, default=len(data))
