"""The line form of ``firmware_notes/wire.md``: what its lines say.

Limits: a line is at most 120 characters; a longer one is dropped up to its end.
"""

import functools
import math
import operator
import re

import numpy as np
from numpy.typing import NDArray

from monitor.values import Channel, Identity, LineReadings
from monitor.values.arrays import Floats
from monitor.wire.items import FaultKind, Item
from monitor.wire.line_shapes import LineShapes

LINE_LIMIT_CHARACTERS = 120
OUTPUTS_LIMIT = 64
U32 = 1 << 32

# float() alone would take "nan", "1_0" and blanks, which no sketch prints for a reading.
_READING = re.compile(rb"r,(\d{1,10}),(\d{1,10}),([\d.+\-eE]+),([\d.+\-eE]+)(?:,([\d.+\-eE]+))?")
_IDENTITY = re.compile(rb"b,([^,]*),(\d{1,10}),(\d{1,10})")
_Row = tuple[float, ...]
_NO_HEX = -4096
_HEX = np.full(256, _NO_HEX, dtype=np.int32)
_HEX[np.frombuffer(b"0123456789abcdef", dtype=np.uint8)] = np.arange(16)
_HEX[np.frombuffer(b"ABCDEF", dtype=np.uint8)] = np.arange(10, 16)
_CHECKSUM_SIZE = 3


class ReadingLines:
    """``r,MS,OUTPUT,VOLTS,AMPS[,WATTS][*HH]`` and the lines that may stand between; see :class:`monitor.wire.lines.LineGrammar`."""

    limit_bytes: int = LINE_LIMIT_CHARACTERS + 1  # one more, for the carriage return of CRLF
    ends_open: bool = False

    def __init__(self) -> None:
        self.shapes = LineShapes(self.read_one, (U32, OUTPUTS_LIMIT, math.inf, math.inf, math.inf), zeros_may_lead=True)

    def plain(self, text: bytes) -> bytes:
        """The lines without their checksums where these are right."""
        return _without_checksums(text) if b"*" in text else text

    def read_one(self, line: bytes) -> _Row | Identity | FaultKind | None:
        """A reading, an identity, what is wrong, or None for a comment or an empty line."""
        body = line.rstrip(b"\r")
        if len(body) > LINE_LIMIT_CHARACTERS:
            return FaultKind.TOO_LONG
        if len(body) >= _CHECKSUM_SIZE and body[-_CHECKSUM_SIZE] == ord("*"):
            stated = _hex(body[-2:])
            if stated is not None and stated != checksum(body[:-_CHECKSUM_SIZE]):
                return FaultKind.CHECKSUM
            body = body if stated is None else body[:-_CHECKSUM_SIZE]
        if not body or body[:1] == b"#":
            return None
        try:
            return _reading(body) or _identity(body) or FaultKind.SYNTAX
        except ValueError:
            return FaultKind.SYNTAX

    def taken(self, rows: Floats, ends: NDArray[np.int64]) -> list[Item]:
        """Readings."""
        times_ms, outputs = rows[:, :2].T.astype(np.int64)
        volts_rms, amps_rms, watts = rows[:, 2:].T.copy()
        return [LineReadings(times_ms=times_ms, outputs=outputs, volts_rms=volts_rms, amps_rms=amps_rms, watts=watts, ends=ends)]

    def missed(self) -> None:
        """Lines bring their own time: one that is lost moves none."""


def checksum(characters: bytes) -> int:
    """XOR of all bytes, as NMEA 0183 forms it."""
    return functools.reduce(operator.xor, characters, 0)


def line_channels(outputs: int) -> tuple[Channel, ...]:
    """Channels of a line board with so many outputs: 2n is the volts of output n, 2n+1 its amps."""
    return (
        Channel(quantity="V", skew_s=0.0, units_per_count=1.0, zero_counts=0.0),
        Channel(quantity="A", skew_s=0.0, units_per_count=1.0, zero_counts=0.0),
    ) * outputs


def _without_checksums(text: bytes) -> bytes:
    """The text without the checksums of those of its lines whose checksum is right."""
    characters = np.frombuffer(text, dtype=np.uint8)
    ends = np.flatnonzero(characters == ord("\n"))
    starts = np.concatenate([[0], ends[:-1] + 1])
    # The XOR of a whole line, less what is not of its body.
    sums = np.bitwise_xor.reduceat(characters, starts)
    ends = ends - (characters[ends - 1] == ord("\r"))
    sums ^= np.where(characters[ends] == ord("\r"), ord("\r") ^ ord("\n"), ord("\n")).astype(np.uint8)
    star, high, low = (characters[ends - back] for back in (3, 2, 1))
    right = (star == ord("*")) & (16 * _HEX[high] + _HEX[low] == sums ^ star ^ high ^ low) & (ends - starts >= _CHECKSUM_SIZE)
    # Without its checksum, a carriage return in front of that would become part of the line's end.
    ends = ends[right]
    ends = ends[characters[ends - _CHECKSUM_SIZE - 1] != ord("\r")]
    return np.delete(characters, ends[:, None] - (3, 2, 1)).tobytes()


def _hex(digits: bytes) -> int | None:
    return int(digits, 16) if all(digit in b"0123456789abcdefABCDEF" for digit in digits) else None


def _reading(body: bytes) -> _Row | None:
    match = _READING.fullmatch(body)
    if match is None:
        return None
    time_ms, output, *figures = (math.nan if field is None else float(field) for field in match.groups())
    is_within = time_ms < U32 and output < OUTPUTS_LIMIT and not any(map(math.isinf, figures))
    return (time_ms, output, *figures) if is_within else None


def _identity(body: bytes) -> Identity | None:
    match = _IDENTITY.fullmatch(body)
    return None if match is None else _line_board(match[1].decode("ascii"), int(match[2]), int(match[3]))


# Boards say the same once a second.
@functools.lru_cache(maxsize=64)
def _line_board(name: str, outputs: int, interval_ms: int) -> Identity | None:
    if not 1 <= outputs <= OUTPUTS_LIMIT or not interval_ms:
        return None
    channels = line_channels(outputs)
    return Identity(number=0, name=name, scan_interval_s=interval_ms / 1000, channels=channels, form="lines")
