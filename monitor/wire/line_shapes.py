"""Lines that differ in their digits only, read all at once.

A line with each of its numbers replaced by one that tells its place is read as any line is; what comes out says which numbers of all
lines of that shape are the figures. The digits themselves are then made into figures as arrays: whole numbers below 2^53, divided by a
power of ten, which IEEE 754 rounds as it does the decimal itself (Clinger 1990), so both ways give the same figure.
"""

import functools
import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.values.arrays import Bools, Floats, Ints
from monitor.wire import thresholds as th

MOST_DIGITS, DIGITS_OF_A_FLOAT, FEW_DIGITS = 10, 15, 7
"""Of a run of digits, and of a figure: more of them are read one by one; of runs with few each figure has few enough."""
NUMBERS_LIMIT = 50
"""Numbers of a line: as many as there are places told by two digits below 64, which any reader takes."""
_FIRST_PLACE = 10
_WORD_DIGITS = re.compile(r"[^\W\d]\d+")

Shape = NDArray[np.uint16]


@dataclass(frozen=True, slots=True)
class _Slots:
    """Where the figures of a shape stand.

    Attributes:
        runs: Shape (r,): marks before which the runs of digits of figures end, whole parts first, then decimals.
        count: How many whole parts, w.
        whole: Which figures these are; a line of this shape has no others.
        with_decimals: Which of them have decimals, in the order of the latter.
        signs: Shape (w,): of these figures, 1 or -1; None where all are 1.
        begins: Marks before which any other runs of digits end than those behind a point.
    """

    runs: Ints
    count: int
    whole: slice | Ints
    with_decimals: slice | Ints
    signs: Floats | None
    begins: Ints


class LineShapes:
    """Remembers the shapes of lines met.

    Args:
        read_one: Reads one line without its end, to a tuple of figures where it is a plain row.
        limits: What each figure stays below, or is read one by one.
        zeros_may_lead: Whether more than one digit before the point may begin with a zero.
    """

    def __init__(self, read_one: Callable[[bytes], object], limits: Sequence[float], *, zeros_may_lead: bool) -> None:
        self._read_one = read_one
        self._figures_of_line = len(limits)
        self._limited = [(k, limit) for k, limit in enumerate(limits) if limit < math.inf]
        self._zeros_may_lead = zeros_may_lead
        self._slots_of = functools.lru_cache(maxsize=th.SHAPES_KEPT)(self._found)

    def read(self, text: bytes, lines: int) -> tuple[Floats, Bools]:
        """Figures of whole lines, shape (lines, figures), and which lines were read; the others are for ``read_one``."""
        table, is_read = np.empty((lines, self._figures_of_line)), np.zeros(lines, dtype=bool)
        if lines < th.FEWEST_AT_ONCE:
            return table, is_read
        characters = np.frombuffer(_AHEAD + text + _BEHIND, dtype=np.uint8)
        marks, sizes, codes = _marks(characters)
        width, odd = divmod(len(codes), lines)
        shape = codes[:width].tobytes()
        if not odd and codes.tobytes() == shape * lines:
            # The usual case, in a third of the time: the same without looking for lines of one shape.
            slots = self._slots_of(shape)
            if slots is not None:
                table, is_read = self._figures(characters, marks.reshape(lines, width), sizes.reshape(lines, width), slots)
            return table, is_read
        last = (codes & _CHARACTER == _LINE_FEED).nonzero()[0]
        counts = np.diff(last, prepend=-1)
        waiting = np.arange(lines)
        for _ in range(th.SHAPES_AT_ONCE):
            if not len(waiting):
                break
            end, count = int(last[waiting[0]]) + 1, int(counts[waiting[0]])
            one = codes[end - count : end]
            alike = counts[waiting] == count
            rows = last[waiting[alike]][:, None] + np.arange(1 - count, 1)
            same = (codes[rows] == one).all(axis=1)
            alike[alike] = same
            slots = self._slots_of(one.tobytes())
            if slots is not None:
                found, rows = waiting[alike], rows[same]
                table[found], is_read[found] = self._figures(characters, marks[rows], sizes[rows], slots)
            waiting = waiting[~alike]
        return table, is_read

    def _figures(self, characters: NDArray[np.uint8], marks: Ints, sizes: Ints, slots: _Slots) -> tuple[Floats, Bools]:
        """Figures of lines of one shape, and which of them are what ``read_one`` would read."""
        good = np.ones(len(marks), dtype=bool)
        digits = sizes.take(slots.runs, axis=1)
        if sizes.max() > FEW_DIGITS:
            together = digits.copy()
            together[:, slots.with_decimals] += together[:, slots.count :]
            good = (sizes.max(axis=1) <= MOST_DIGITS) & (together.max(axis=1) <= DIGITS_OF_A_FLOAT)
            digits = np.minimum(digits, MOST_DIGITS)
        if not self._zeros_may_lead:
            begins = slots.begins
            leading = characters[marks[:, begins] - sizes[:, begins]] == _ZERO
            good &= ~(leading & (sizes[:, begins] > 1)).any(axis=1)
        numbers = _numbers(characters, marks.take(slots.runs, axis=1).ravel(), digits.ravel()).reshape(digits.shape)
        whole, decimals = numbers[:, : slots.count], numbers[:, slots.count :]
        scale = _POWERS[digits[:, slots.count :]]
        whole[:, slots.with_decimals] = (whole[:, slots.with_decimals] * scale + decimals) / scale
        figures = np.full((len(marks), self._figures_of_line), np.nan)
        figures[:, slots.whole] = whole if slots.signs is None else whole * slots.signs + 0.0  # a zero with a sign is a zero
        for k, limit in self._limited:
            good &= ~(figures[:, k] >= limit)
        return figures, good

    def _found(self, codes: bytes) -> _Slots | None:
        """Where the figures stand; None where a line of this shape is no plain row, or more than its digits may matter."""
        line, runs, shape = "", list[int](), np.frombuffer(codes, dtype=np.uint16)
        for at, code in enumerate(shape.tolist()):
            if code > _CHARACTER:
                line += str(_FIRST_PLACE + len(runs))
                runs.append(at)
            line += chr(code & _CHARACTER)
        line = line.removesuffix("\n").removesuffix("\r")
        if len(runs) > NUMBERS_LIMIT or not line.isascii() or not line.replace("\t", " ").isprintable():
            return None
        row = self._read_one(line.encode())
        if not isinstance(row, tuple):
            return None
        places = [_place_of(figure, len(runs)) for figure in row]
        if None in places:
            return None
        whole = [k for k, figure in enumerate(row) if not math.isnan(figure)]
        told = [place for place in places if place]
        decimals = [k for k, place in enumerate(told) if place[1] is not None]
        signs = [math.copysign(1.0, row[k]) for k in whole]
        return _Slots(
            runs=np.array([*(runs[place] for place, _ in told), *(runs[told[k][1] or 0] for k in decimals)], dtype=np.intp),
            count=len(whole),
            whole=_span(whole),
            with_decimals=_span(decimals),
            signs=None if min(signs, default=1.0) > 0 else np.array(signs),
            begins=np.flatnonzero((shape > _CHARACTER) & (np.concatenate([[0], shape[:-1]]) & _CHARACTER != _POINT)),
        )


def digits_are_figures(names: Sequence[str]) -> bool:
    """Whether no number of a line can be mistaken for a part of one of these names: digits stand behind letters there."""
    return not any(character.isdigit() for name in names for character in _WORD_DIGITS.sub("", name))


def _place_of(figure: float, runs: int) -> tuple[int, int | None] | tuple[()] | None:
    """Which runs of digits are a figure's whole part and its decimals; () for a figure that is not sent, None where it is no plain number."""
    if math.isnan(figure):
        return ()
    whole, decimals = f"{abs(figure):.2f}".split(".")
    place, after = int(whole) - _FIRST_PLACE, int(decimals) - _FIRST_PLACE
    is_plain = 0 <= place < runs and float(f"{whole}.{decimals}") == abs(figure) and (after in (-_FIRST_PLACE, place + 1))
    return (place, None if after < 0 else after) if is_plain else None


def _span(places: list[int]) -> slice | Ints:
    """Some places; as a slice where they follow each other, which is quicker."""
    first = places[0] if places else 0
    return slice(first, first + len(places)) if places == list(range(first, first + len(places))) else np.array(places)


def _marks(characters: NDArray[np.uint8]) -> tuple[Ints, Ints, Shape]:
    """Places of all characters that are no digits of a number, how many such digits stand before each, and what each is.

    Digits behind a letter belong to a word. Characters with digits before them have a code of more than a byte.
    """
    is_mark, are_words_known = characters - _ZERO > 9, False
    while True:
        before = is_mark.nonzero()[0]
        kinds, sizes = characters.take(before), before[1:] - before[:-1] - 1
        has_digits = sizes > 0
        if are_words_known or not (_IN_WORDS.take(kinds[:-1]) & has_digits).any():
            return before[1:], sizes, kinds[1:] + has_digits * np.uint16(_CHARACTER + 1)
        latest = np.maximum.accumulate(np.where(is_mark, np.arange(len(characters)), 0))
        is_mark |= _IN_WORDS.take(characters.take(latest))
        are_words_known = True


def _numbers(characters: NDArray[np.uint8], ends: Ints, digits: Ints) -> Floats:
    """Runs of so many digits before these places as numbers: up to eight are read as one word."""
    words = np.ndarray(len(characters) - 7, dtype="<u8", buffer=characters, strides=(1,))
    has_more = digits.max(initial=0) > 8
    last = np.minimum(digits, 8) if has_more else digits
    shown = (words.take(ends - last) ^ _ZEROS) << _BEYOND.take(last)
    numbers = np.asarray(shown.view(np.uint8).reshape(-1, 8).astype(np.float64) @ _TENS)
    if has_more:
        numbers += 1e8 * _numbers(characters, ends - 8, np.maximum(digits - 8, 0))
    return numbers


_CHARACTER = 0xFF
_LINE_FEED, _POINT, _ZERO = b"\n.0"
_ZEROS = np.uint64(0x3030303030303030)
_BEYOND = np.arange(64, -8, -8).astype(np.uint64)
"""Bits of eight characters that are none of so many digits."""
_TENS = 10.0 ** np.arange(7, -1, -1)
_POWERS = 10.0 ** np.arange(MOST_DIGITS + 1)
_AHEAD, _BEHIND = b"\n", b"0" * 8
"""So that each line has an end before it, and each number eight characters from its beginning on."""
_IN_WORDS = np.array([chr(code).isalpha() or code == ord("_") or code > 127 for code in range(256)])
