"""Plain reading lines of a whole text decoded at once, column by column.

Plain are nearly all lines of a stream: ``r,MS,OUTPUT,VOLTS,AMPS[,WATTS][*HH]``, decimals with 15 digits at most and no exponent.
The others are left to whoever reads lines one by one.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Places = NDArray[np.intp]
Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]
Characters = NDArray[np.uint8]
Words = NDArray[np.uint64]

U32 = 1 << 32
OUTPUTS_LIMIT = 64
WHOLE_DIGITS_LIMIT = 10
DECIMAL_DIGITS_LIMIT = 15
"""A decimal of so many digits is a whole number below 2**53 over a power of ten below 10**22. Floats hold both exactly, so their
quotient is rounded once: it is the float nearest to the text."""

BLOCK_BYTES = 1 << 17
"""So much text is decoded at a time, for what it takes of memory is many times that."""

_LINE_FEED, _RETURN, _STAR, _PLUS, _COMMA, _MINUS, _POINT, _R = b"\n\r*+,-.r"
_NO_HEX = -4096
_WORD = 8
_KEPT = np.array([(1 << 64) - (1 << 8 * (_WORD - length)) for length in range(_WORD + 1)], dtype=np.uint64)
"""By length: the bits of that many last characters of a word, whose highest byte is the last character."""
_HEX = np.full(256, _NO_HEX, dtype=np.int32)
_HEX[np.frombuffer(b"0123456789abcdef", dtype=np.uint8)] = np.arange(16)
_HEX[np.frombuffer(b"ABCDEF", dtype=np.uint8)] = np.arange(10, 16)
_POWERS = 10.0 ** np.arange(DECIMAL_DIGITS_LIMIT + 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class LineTable:
    """The n lines of a text, and the figures of the m plain ones.

    Attributes:
        starts: Shape (n,): where each line begins in the text.
        ends: Shape (n,): where its line feed stands.
        plain: Shape (m,): which lines are plain readings.
        figures: Shape (5, m): their milliseconds, outputs, volts, amps and watts; NaN where no watts were sent.
    """

    starts: Places
    ends: Places
    plain: Places
    figures: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fields:
    """The five fields of n lines that have commas as readings do.

    Attributes:
        lefts: Shape (5, n): where each field begins; empty where there are no watts.
        rights: Shape (5, n): just after it.
        points: Shape (3, n): where the point of each decimal stands, or its right end.
        pointed: Shape (3, n): whether it has one.
        with_watts: Shape (n,).
    """

    lefts: Places
    rights: Places
    points: Places
    pointed: Flags
    with_watts: Flags


def read_table(text: bytes) -> LineTable:
    """Decode the plain lines of a text.

    Args:
        text: One line or more, each with its line feed.
    """
    blocks: list[LineTable] = []
    start, lines = 0, 0
    while start < len(text):
        end = text.find(b"\n", start + BLOCK_BYTES) + 1 or len(text)
        block = _read_block(text[start:end])
        blocks.append(replace(block, starts=block.starts + start, ends=block.ends + start, plain=block.plain + lines))
        start, lines = end, lines + len(block.ends)
    return LineTable(
        starts=np.concatenate([block.starts for block in blocks]),
        ends=np.concatenate([block.ends for block in blocks]),
        plain=np.concatenate([block.plain for block in blocks]),
        figures=np.concatenate([block.figures for block in blocks], axis=1),
    )


def _read_block(text: bytes) -> LineTable:
    characters = np.frombuffer(text, dtype=np.uint8)
    marks = np.flatnonzero((characters == _COMMA) | (characters == _LINE_FEED) | (characters == _POINT))
    is_point = characters[marks] == _POINT
    fence_marks = np.flatnonzero(~is_point)
    fences = marks[fence_marks]
    feeds = np.flatnonzero(characters[fences] == _LINE_FEED)
    firsts = np.concatenate([[0], feeds[:-1] + 1])
    ends = fences[feeds]
    starts = np.concatenate([[0], ends[:-1] + 1])
    stops, plain = _bodies(characters, starts, ends)
    commas = feeds - firsts
    plain &= ((commas == 4) | (commas == 5)) & (characters[starts] == _R) & (fences[firsts] == starts + 1)
    chosen = np.flatnonzero(plain)
    points = np.append(marks[np.flatnonzero(is_point)], 0)
    # Commas and the line feed of a line, and the points ahead of each.
    at = np.minimum(firsts[chosen] + np.arange(6)[:, np.newaxis], len(fences) - 1)
    fields = _fields(fences[at], fence_marks[at] - at, points, stops[chosen], commas[chosen] == 5)
    good, figures = _figures(text, characters, fields)
    if not good.all():
        chosen, figures = chosen[good], figures[:, good]
    return LineTable(starts=starts, ends=ends, plain=chosen, figures=figures)


def _bodies(characters: Characters, starts: Places, ends: Places) -> tuple[Places, Flags]:
    """Where each line's text ends, before a carriage return and a checksum, and whether its checksum, if any, is right."""
    stops = ends - (characters[ends - 1] == _RETURN)
    starred = (stops - starts >= 3) & (characters[np.maximum(stops - 3, 0)] == _STAR)
    if not starred.any():
        return stops, np.ones(len(ends), dtype=np.bool_)
    sums = np.concatenate([np.zeros(1, dtype=np.uint8), np.bitwise_xor.accumulate(characters)])
    stated = 16 * _HEX[characters[stops - 2]] + _HEX[characters[stops - 1]]
    stops = np.where(starred, stops - 3, stops)
    return stops, ~starred | (stated == sums[stops] ^ sums[starts])


def _fields(fences: Places, points_ahead: Places, points: Places, stops: Places, with_watts: Flags) -> _Fields:
    """Fields between fences (6, n); ``points`` are the places of all points, and one more."""
    lefts, rights = fences[:5] + 1, fences[1:].copy()
    rights[3] = np.where(with_watts, rights[3], stops)
    rights[4] = stops
    lefts[4] = np.where(with_watts, lefts[4], stops)
    pointed = points_ahead[3:] > points_ahead[2:5]
    pointed[2] &= with_watts
    return _Fields(
        lefts=lefts,
        rights=rights,
        points=np.where(pointed, points[points_ahead[2:5]], rights[2:]),
        pointed=pointed,
        with_watts=with_watts,
    )


def _figures(text: bytes, characters: Characters, fields: _Fields) -> tuple[Flags, Floats]:
    """Which lines are readings, and their figures, shape (5, n)."""
    signs = characters[fields.lefts[2:]]
    negative = signs == _MINUS
    whole_lengths = fields.points - fields.lefts[2:] - (negative | (signs == _PLUS))
    fraction_lengths = np.where(fields.pointed, fields.rights[2:] - fields.points - 1, 0)
    lengths = np.concatenate([fields.rights[:2] - fields.lefts[:2], whole_lengths, fraction_lengths])
    numbers, good = _numbers(text, np.concatenate([fields.rights[:2], fields.points, fields.rights[2:]]), lengths)
    scales = _POWERS.take(fraction_lengths, mode="clip")
    decimals = (numbers[2:5] * scales + numbers[5:]) / scales
    np.negative(decimals, out=decimals, where=negative)
    decimals[2, ~fields.with_watts] = np.nan
    whole_ok = (lengths[:2] > 0) & (lengths[:2] <= WHOLE_DIGITS_LIMIT) & (numbers[:2] < [[U32], [OUTPUTS_LIMIT]])
    digits = whole_lengths + fraction_lengths
    digits[2, ~fields.with_watts] = 1
    decimals_ok = (digits > 0) & (digits <= DECIMAL_DIGITS_LIMIT)
    return good.all(axis=0) & whole_ok.all(axis=0) & decimals_ok.all(axis=0), np.concatenate([numbers[:2], decimals])


def _numbers(text: bytes, ends: Places, lengths: Places) -> tuple[Floats, Flags]:
    """Numbers of 16 characters at most that end at these places, and whether these are digits; all of one shape."""
    padded = b"0" * (2 * _WORD) + text
    # At each character the word of the eight before it, unaligned; and the one before that.
    words: Words = np.ndarray(len(text) + 1, dtype="<u8", buffer=padded, strides=(1,), offset=_WORD)
    numbers, good = _word_numbers(words.take(ends), lengths)
    long = lengths > _WORD
    if long.any():
        earlier: Words = np.ndarray(len(text) + 1, dtype="<u8", buffer=padded, strides=(1,))
        high, high_good = _word_numbers(earlier[ends[long]], lengths[long] - _WORD)
        numbers[long] += high * np.uint64(10**_WORD)
        good[long] &= high_good
    return numbers.astype(np.float64), good


def _word_numbers(words: Words, lengths: Places) -> tuple[Words, Flags]:
    """What so many last characters of words say as numbers, and whether they are digits; overwrites the words.

    All eight characters of a word are worked on at a time: each as a byte of its own, then as pairs, then as fours.
    """
    words ^= np.uint64(0x3030303030303030)
    words &= _KEPT.take(lengths, mode="clip")
    above_nine = (words + np.uint64(0x7676767676767676)) | words
    above_nine &= np.uint64(0x8080808080808080)
    words *= np.uint64(10 << 8 | 1)
    words >>= np.uint64(8)
    words &= np.uint64(0x00FF00FF00FF00FF)
    words *= np.uint64(100 << 16 | 1)
    words >>= np.uint64(16)
    words &= np.uint64(0x0000FFFF0000FFFF)
    words *= np.uint64(10000 << 32 | 1)
    words >>= np.uint64(32)
    return words, above_nine == 0
