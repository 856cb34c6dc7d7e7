"""The line form: ASCII lines of readings, decoded a chunk at a time.

Limits: a line is at most 120 characters; a longer one is dropped up to its end.
"""

import functools
import math
import operator

import numpy as np

from monitor.values import Channel, Identity, LineReadings
from monitor.wire.framing import Framer
from monitor.wire.items import Fault, FaultKind, Item

LINE_LIMIT_CHARACTERS = 120
OUTPUTS_LIMIT = 64
_U32 = 1 << 32
_Row = tuple[int, int, float, float, float]


class LineDecoder:
    """Bytes in, items out; never raises, whatever the bytes.

    Attributes:
        lines: Good lines so far, comments included.
    """

    def __init__(self) -> None:
        # One more than the limit, for the carriage return of CRLF.
        self._framer = Framer(delimiter=b"\n", limit_bytes=LINE_LIMIT_CHARACTERS + 1)
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
        items: list[Item] = []
        rows: list[_Row] = []
        for line, offset, size in self._framer.feed(data):
            made = (
                _too_long(offset, size)
                if line is None or len(line.rstrip(b"\r")) > LINE_LIMIT_CHARACTERS
                else _parse(line, offset)
            )
            if isinstance(made, tuple):
                rows.append(made)
                self.lines += 1
                continue
            if made is None:
                self.lines += 1
                continue
            _flush(rows, items)
            items.append(made)
            self.lines += isinstance(made, Identity)
        _flush(rows, items)
        return items


def checksum(characters: bytes) -> int:
    """XOR of all bytes, as NMEA 0183 forms it."""
    return functools.reduce(operator.xor, characters, 0)


def line_channels(outputs: int) -> tuple[Channel, ...]:
    """Channels of a line board with so many outputs: 2n is the volts of output n, 2n+1 its amps."""
    return (
        Channel(quantity="V", skew_s=0.0, units_per_count=1.0, zero_counts=0.0),
        Channel(quantity="A", skew_s=0.0, units_per_count=1.0, zero_counts=0.0),
    ) * outputs


def _too_long(offset: int, size: int) -> Fault:
    return Fault(kind=FaultKind.TOO_LONG, offset=offset, size=size)


def _parse(line: bytes, offset: int) -> _Row | Identity | Fault | None:
    """One line: a reading, an identity, a fault, or None for a comment or an empty line."""
    body = line.rstrip(b"\r")
    if len(body) >= 3 and body[-3] == 0x2A:
        stated = _hex(body[-2:])
        if stated is not None and stated != checksum(body[:-3]):
            return Fault(kind=FaultKind.CHECKSUM, offset=offset, size=len(line))
        body = body if stated is None else body[:-3]
    if not body or body[:1] == b"#":
        return None
    try:
        fields = body.decode("ascii").split(",")
        made = _READERS[fields[0]](fields)
    except (UnicodeDecodeError, KeyError, ValueError):
        made = None
    return Fault(kind=FaultKind.SYNTAX, offset=offset, size=len(line)) if made is None else made


def _hex(digits: bytes) -> int | None:
    return int(digits, 16) if all(digit in b"0123456789abcdefABCDEF" for digit in digits) else None


def _reading(fields: list[str]) -> _Row | None:
    if len(fields) not in (5, 6):
        return None
    time_ms, output = _whole(fields[1]), _whole(fields[2])
    volts, amps = _decimal(fields[3]), _decimal(fields[4])
    watts = _decimal(fields[5]) if len(fields) == 6 else math.nan
    if time_ms >= _U32 or output >= OUTPUTS_LIMIT:
        return None
    return time_ms, output, volts, amps, watts


def _identity(fields: list[str]) -> Identity | None:
    if len(fields) != 4:
        return None
    outputs, interval_ms = _whole(fields[2]), _whole(fields[3])
    if not 1 <= outputs <= OUTPUTS_LIMIT or not interval_ms:
        return None
    channels = line_channels(outputs)
    return Identity(number=0, name=fields[1], scan_interval_s=interval_ms / 1000, channels=channels, form="lines")


_READERS = {"r": _reading, "b": _identity}


def _whole(text: str) -> int:
    if not text.isdecimal() or len(text) > 10:
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
