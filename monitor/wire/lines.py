"""The line form: ASCII lines of readings, decoded a chunk at a time.

Limits: a line is at most 120 characters; a longer one is dropped up to its end.
"""

import functools
import math
import operator

import numpy as np
from numpy.typing import NDArray

from monitor.values import Channel, Identity, LineReadings
from monitor.wire.framing import Framer
from monitor.wire.items import Fault, FaultKind, Item
from monitor.wire.line_table import OUTPUTS_LIMIT, U32, WHOLE_DIGITS_LIMIT, LineTable, read_table

LINE_LIMIT_CHARACTERS = 120
_FRAME_LIMIT_BYTES = LINE_LIMIT_CHARACTERS + 1
"""One more, for the carriage return of CRLF."""

_Row = tuple[int, int, float, float, float]

MANY_BYTES = 1200
"""From this length on it is quicker to decode the plain lines of a chunk all at once."""


class LineDecoder:
    """Bytes in, items out; never raises, whatever the bytes.

    Attributes:
        lines: Good lines so far, comments included.
    """

    def __init__(self) -> None:
        self._framer = Framer(delimiter=b"\n", limit_bytes=_FRAME_LIMIT_BYTES)
        self.lines = 0

    @property
    def offset(self) -> int:
        """Bytes taken in so far."""
        return self._framer.offset

    def feed(self, data: bytes) -> list[Item]:
        """Take bytes in, cut anywhere.

        Returns:
            Items in stream order; readings that follow each other come together, as far as this chunk goes.
        """
        if len(data) >= MANY_BYTES:
            return self._feed_many(data)
        items: list[Item] = []
        rows: list[_Row] = []
        for line, offset, size in self._framer.feed(data):
            made = _parse(line, offset, size)
            if isinstance(made, tuple):
                rows.append(made)
                self.lines += 1
            elif made is None:
                self.lines += 1
            else:
                self.lines += isinstance(made, Identity)
                _flush(rows, items)
                items.append(made)
        _flush(rows, items)
        return items

    def _feed_many(self, data: bytes) -> list[Item]:
        """The same for many lines: plain readings all at once, each other line by itself."""
        text, position, skipped_bytes = self._framer.feed_whole(data)
        items: list[Item] = []
        if skipped_bytes:
            end = text.index(b"\n")
            items.append(Fault(kind=FaultKind.TOO_LONG, offset=position + end + 1, size=end + skipped_bytes))
            text, position = text[end + 1 :], position + end + 1
        if text:
            items += self._read_many(text, position)
        return items

    def _read_many(self, text: bytes, position: int) -> list[Item]:
        table = read_table(text)
        is_other = table.ends > table.starts
        is_other[table.plain] = False
        others = np.flatnonzero(is_other)
        rows: dict[int, _Row] = {}
        between: dict[int, Item] = {}
        for k, start, end in zip(others.tolist(), table.starts[others].tolist(), table.ends[others].tolist(), strict=True):
            made = _parse(text[start:end], position + end + 1, end - start)
            if isinstance(made, tuple):
                rows[k] = made
            elif made is not None:
                between[k] = made
        faults = sum(isinstance(item, Fault) for item in between.values())
        self.lines += len(table.plain) + len(others) - faults
        return _merged(table, rows, between)


def checksum(characters: bytes) -> int:
    """XOR of all bytes, as NMEA 0183 forms it."""
    return functools.reduce(operator.xor, characters, 0)


def line_channels(outputs: int) -> tuple[Channel, ...]:
    """Channels of a line board with so many outputs: 2n is the volts of output n, 2n+1 its amps."""
    return (
        Channel(quantity="V", skew_s=0.0, units_per_count=1.0, zero_counts=0.0),
        Channel(quantity="A", skew_s=0.0, units_per_count=1.0, zero_counts=0.0),
    ) * outputs


def _parse(line: bytes | None, offset: int, size: int) -> _Row | Identity | Fault | None:
    """One line: a reading, an identity, a fault, or None for a comment or an empty line.

    Args:
        line: Its text, or None where it was not kept, being too long.
        offset: Byte position in the stream just after it.
        size: Its length, for a fault.
    """
    body = b"" if line is None else line.rstrip(b"\r")
    if size > _FRAME_LIMIT_BYTES or len(body) > LINE_LIMIT_CHARACTERS:
        return Fault(kind=FaultKind.TOO_LONG, offset=offset, size=size)
    if len(body) >= 3 and body[-3] == 0x2A:
        stated = _hex(body[-2:])
        if stated is not None and stated != checksum(body[:-3]):
            return Fault(kind=FaultKind.CHECKSUM, offset=offset, size=size)
        body = body if stated is None else body[:-3]
    if not body or body[:1] == b"#":
        return None
    try:
        fields = body.decode("ascii").split(",")
        made = _READERS[fields[0]](fields)
    except (UnicodeDecodeError, KeyError, ValueError):
        made = None
    return Fault(kind=FaultKind.SYNTAX, offset=offset, size=size) if made is None else made


def _hex(digits: bytes) -> int | None:
    return int(digits, 16) if all(digit in b"0123456789abcdefABCDEF" for digit in digits) else None


def _reading(fields: list[str]) -> _Row | None:
    if len(fields) not in (5, 6):
        return None
    time_ms, output = _whole(fields[1]), _whole(fields[2])
    volts, amps = _decimal(fields[3]), _decimal(fields[4])
    watts = _decimal(fields[5]) if len(fields) == 6 else math.nan
    if time_ms >= U32 or output >= OUTPUTS_LIMIT:
        return None
    return time_ms, output, volts, amps, watts


def _identity(fields: list[str]) -> Identity | None:
    if len(fields) != 4:
        return None
    return _line_board(fields[1], _whole(fields[2]), _whole(fields[3]))


# Boards say the same once a second.
@functools.lru_cache(maxsize=64)
def _line_board(name: str, outputs: int, interval_ms: int) -> Identity | None:
    if not 1 <= outputs <= OUTPUTS_LIMIT or not interval_ms:
        return None
    channels = line_channels(outputs)
    return Identity(number=0, name=name, scan_interval_s=interval_ms / 1000, channels=channels, form="lines")


_READERS = {"r": _reading, "b": _identity}


def _whole(text: str) -> int:
    if not text.isdecimal() or len(text) > WHOLE_DIGITS_LIMIT:
        raise ValueError(text)
    return int(text)


def _decimal(text: str) -> float:
    # float() alone would take "nan", "1_0" and blanks, which no sketch prints for a reading.
    if not text or not all(character in "0123456789.+-eE" for character in text):
        raise ValueError(text)
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def _flush(rows: list[_Row], items: list[Item]) -> None:
    if not rows:
        return
    times, outputs, volts, amps, watts = zip(*rows, strict=True)
    items.append(
        LineReadings(
            times_ms=np.array(times, dtype=np.int64),
            outputs=np.array(outputs, dtype=np.int64),
            volts_rms=np.array(volts),
            amps_rms=np.array(amps),
            watts=np.array(watts),
        )
    )
    rows.clear()


def _merged(table: LineTable, rows: dict[int, _Row], between: dict[int, Item]) -> list[Item]:
    """Readings of a table, with those read one by one and the items that came between them, both by their lines."""
    lines, figures = table.plain, table.figures
    if rows:
        order = np.argsort(np.concatenate([lines, list(rows)]))
        lines = np.concatenate([lines, list(rows)])[order]
        figures = np.concatenate([figures, np.array(list(rows.values())).T], axis=1)[:, order]
    items: list[Item] = []
    taken = 0
    for ahead, item in zip(np.searchsorted(lines, list(between)).tolist(), between.values(), strict=True):
        if ahead > taken:
            items.append(_readings(figures[:, taken:ahead]))
            taken = ahead
        items.append(item)
    if taken < len(lines):
        items.append(_readings(figures[:, taken:]))
    return items


def _readings(figures: NDArray[np.float64]) -> LineReadings:
    times_ms, outputs = figures[:2].astype(np.int64)
    volts_rms, amps_rms, watts = figures[2:]
    return LineReadings(times_ms=times_ms, outputs=outputs, volts_rms=volts_rms, amps_rms=amps_rms, watts=watts)
