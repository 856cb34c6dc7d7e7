"""Lines of a sketch's own, understood by ``[board.lines]`` of the layout file.

``line_figures`` says what a line means. What is here only makes it fast: a text of plain lines is turned into JSON, all at once, and
decoded in C. Whatever that refuses is read line by line, so both say the same.
"""

import functools
from collections.abc import Callable, Sequence
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from monitor.layout import Board, LineMapping
from monitor.values import Identity, LineReadings
from monitor.wire.items import FaultKind, Item
from monitor.wire.line_figures import UNITS, NumberForm, by_name, by_place, figures_of, of_object, shown, text_of
from monitor.wire.reading_lines import U32, column_of, line_channels

LIMIT_BYTES = 2048
"""A longer line is dropped up to its end."""
DEFAULT_INTERVAL_MS = 100.0
"""Between lines of a board without a clock of which the layout file does not say it either; only where arrival tells nothing."""
UNITS_LIMIT = 8
_CONTROLS = bytes([*range(9), *range(11, 32), 127])
_BRACKETS = b'[]{}"\\'
"""What JSON takes for marks of its own."""

_Row = tuple[float, ...]


class MappedLines:
    """A board's own lines; see :class:`monitor.wire.lines.LineGrammar`."""

    limit_bytes: int = LIMIT_BYTES
    ends_open: bool = True

    def __init__(self, board: Board) -> None:
        assert board.lines is not None  # noqa: S101 - the caller's contract
        self._mapping = mapping = board.lines
        self._form = NumberForm.of(mapping.decimal)
        names = [str(place) for _, place in mapping.places]
        self._fields = {"values": lambda line: by_place(line, self._form), "pairs": by_name(names, self._form), "json": of_object}
        self._interval_ms = mapping.interval_ms or DEFAULT_INTERVAL_MS
        self._lines = 0
        self._units: list[bytes] = []
        self._identity: Identity | None = Identity(
            number=0,
            name=board.name,
            scan_interval_s=self._interval_ms / 1000,
            channels=line_channels(len(mapping.output)),
            form="lines",
            has_clock=mapping.time_ms is not None,
        )
        self._zeros, self._scales = _corrections(mapping)

    def read_many(self, text: bytes) -> Sequence[_Row] | None:
        """The rows of a text of nothing else, one figure for each place that the mapping names, in its order."""
        normal = _normal(text, self._units)
        if not normal.isascii() or len(normal.translate(None, _CONTROLS)) != len(normal):
            return None
        return _FAST[self._mapping.form](normal, self._mapping)

    def read_one(self, line: bytes) -> _Row | FaultKind | str | None:
        """A row, what is wrong with the line in words, or None where it is no reading at all."""
        text = text_of(line)
        if text is None:
            return None
        try:
            fields = self._fields[self._mapping.form](text)
        except ValueError as error:
            return f"{shown(text)}: {error}"
        made = figures_of(fields, self._mapping.places, self._form)
        if isinstance(made, str):
            return f"{shown(text)}: {made}"
        self._learn_units(fields)
        return made

    def taken(self, rows: Sequence[Sequence[float]], ends: NDArray[np.int64]) -> list[Item]:
        """The board's identity before its first reading; then a reading for each output of each row."""
        table = np.stack([column_of(figures) for figures in zip(*rows, strict=True)], axis=1)
        outputs = len(self._mapping.output)
        if self._mapping.time_ms is None:
            times_ms = np.rint(np.arange(self._lines, self._lines + len(rows)) * self._interval_ms)
        else:
            times_ms = np.rint(table[:, 0])
        self._lines += len(rows)
        figures = ((table[:, -2 * outputs :] - self._zeros) * self._scales + 0.0).reshape(-1, 2)  # as in column_of
        readings = LineReadings(
            times_ms=np.repeat(times_ms % U32, outputs).astype(np.int64),
            outputs=np.tile(np.arange(outputs), len(rows)),
            volts_rms=figures[:, 0],
            amps_rms=figures[:, 1],
            watts=np.full(len(figures), np.nan),
            ends=np.repeat(ends, outputs),
        )
        identity, self._identity = self._identity, None
        return [readings] if identity is None else [identity, readings]

    def missed(self) -> None:
        """A damaged line took its time too."""
        self._lines += 1

    def _learn_units(self, fields: Any) -> None:  # noqa: ANN401 - what a JSON object holds
        """Units met are left out of whole texts; those that may stand alone between blanks only, for others would be fields there."""
        for field in fields.values():
            unit = self._form.unit(field) if isinstance(field, str) and self._mapping.form != "json" else ""
            if unit in UNITS and unit.encode() not in self._units and len(self._units) < UNITS_LIMIT:
                self._units.append(unit.encode())


def _corrections(mapping: LineMapping) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Zeros and scales of the figures of a line, volts and amps of each output."""
    zeros = [zero for output in mapping.output for zero in (output.volts_zero, output.amps_zero)]
    scales = [scale for output in mapping.output for scale in (output.volts_scale, output.amps_scale)]
    return np.array(zeros), np.array(scales)


def _normal(text: bytes, units: Sequence[bytes]) -> bytes:
    """The text without carriage returns before line feeds, and without these units behind numbers."""
    if b"\r" in text:
        text = text.replace(b"\r\n", b"\n")
    for unit in units:
        for mark in (b",", b";", b"\t", b" ", b"\n"):
            text = text.replace(unit + mark, mark)
    return text


def _one_blank(text: bytes) -> bytes:
    """Blanks around marks and at the ends of lines left out, several made one."""
    while b"  " in text:
        text = text.replace(b"  ", b" ")
    for mark in (b"\n", b",", b";", b"=", b":"):
        for beside in (b" " + mark, mark + b" "):
            text = text.replace(beside, mark) if beside in text else text
    return text.lstrip(b" ")


def _marked(text: bytes, mapping: LineMapping) -> bytes | None:
    """The text with a comma between fields and a point in numbers, whatever stands there; None where JSON would mistake it."""
    if len(text.translate(None, _BRACKETS)) != len(text):
        return None
    if mapping.decimal == ",":
        if b"." in text:
            return None
        text = text.translate(_COMMA_TO_POINT)
    else:
        text = text.translate(_MARKS_TO_COMMA)
    if b" " in text:
        text = _one_blank(text)
        text = text if b"," in text else text.replace(b" ", b",")
    return text


_COMMA_TO_POINT = bytes.maketrans(b",;\t", b".,,")
_MARKS_TO_COMMA = bytes.maketrans(b";\t", b",,")


def _values(text: bytes, mapping: LineMapping) -> Sequence[_Row] | None:
    marked = _marked(text, mapping)
    if marked is None:
        return None
    if b",\n" in marked:
        marked = marked.replace(b",\n", b"\n")
    places = [int(place) - 1 for _, place in mapping.places]
    try:
        if places == list(range(marked.count(b",", 0, marked.find(b"\n")) + 1)):
            asked = marked[:-1].replace(b"\n", b"],[")
        else:
            fields = [line.split(b",") for line in marked[:-1].split(b"\n")]
            asked = b"],[".join([b",".join([line[place] for place in places]) for line in fields])
        rows: list[_Row] = _tuples_of(len(places)).decode(b"[[%b]]" % asked)
    except (msgspec.DecodeError, IndexError):
        return None
    return rows


def _pairs(text: bytes, mapping: LineMapping) -> Sequence[_Row] | None:
    marked = _marked(text, mapping)
    if marked is None or b" " in marked:
        return None
    if b"=" in marked:
        marked = marked.replace(b"=", b":")
    objects = b'{"%b}\n' % marked[:-1].replace(b",", b',"').replace(b":", b'":').replace(b"\n", b'}\n{"')
    for _, name in mapping.places:
        # A name that stands twice in a line goes by its first; JSON would take the last.
        if objects.count(b'"%b":' % str(name).encode()) != objects.count(b"\n"):
            return None
    return _objects(objects, mapping)


def _objects(text: bytes, mapping: LineMapping) -> Sequence[_Row] | None:
    lines = text.count(b"\n")
    if text[:1] != b"{" or text.count(b"\n{") != lines - 1 or text.count(b"}\n") != lines:
        return None
    names = tuple(str(name) for _, name in mapping.places)
    try:
        found = _structs_of(names).decode_lines(text)
    except msgspec.DecodeError:
        return None
    return [msgspec.structs.astuple(each) for each in found]


_FAST: dict[str, Callable[[bytes, LineMapping], Sequence[_Row] | None]] = {
    "values": _values,
    "pairs": _pairs,
    "json": _objects,
}


@functools.lru_cache(maxsize=64)
def _tuples_of(width: int) -> Any:  # noqa: ANN401 - a decoder of a type made at run time
    return msgspec.json.Decoder(list[tuple[(float,) * width]])  # type: ignore[misc]


@functools.lru_cache(maxsize=64)
def _structs_of(names: tuple[str, ...]) -> Any:  # noqa: ANN401 - as above
    fields = [f"figure_{k}" for k in range(len(names))]
    made = msgspec.defstruct(
        "Figures", [(field, float) for field in fields], rename=dict(zip(fields, names, strict=True)), gc=False
    )
    return msgspec.json.Decoder(made)
