"""Lines of a sketch's own, understood by ``[board.lines]`` of the layout file.

``line_figures`` says what a line means.
"""

import math

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Board, LineMapping
from monitor.values import Identity, LineReadings
from monitor.values.arrays import Floats
from monitor.wire import thresholds as th
from monitor.wire.items import FaultKind, Item
from monitor.wire.line_figures import NumberForm, by_name, by_place, figures_of, of_object, shown, text_of
from monitor.wire.line_shapes import LineShapes, digits_are_figures
from monitor.wire.reading_lines import U32, line_channels

_Row = tuple[float, ...]


class MappedLines:
    """A board's own lines; see :class:`monitor.wire.lines.LineGrammar`."""

    limit_bytes: int = th.MAPPED_LINE_BYTES
    ends_open: bool = True

    def __init__(self, board: Board) -> None:
        assert board.lines is not None  # noqa: S101 - the caller's contract
        self._mapping = mapping = board.lines
        self._form = NumberForm.of(mapping.decimal)
        names = [str(place) for _, place in mapping.places]
        self._fields = {"values": lambda line: by_place(line, self._form), "pairs": by_name(names, self._form), "json": of_object}
        self._interval_ms = mapping.interval_ms or th.INTERVAL_MS
        self._lines = 0
        # Where digits may be a part of a name, lines of one shape may say different things.
        are_alike = mapping.form == "values" or digits_are_figures(names)
        self.shapes = LineShapes(
            self.read_one if are_alike else lambda _line: None, [math.inf] * len(names), zeros_may_lead=mapping.form != "json"
        )
        self._identity: Identity | None = Identity(
            number=0,
            name=board.name,
            scan_interval_s=self._interval_ms / 1000,
            channels=line_channels(len(mapping.output)),
            form="lines",
            has_clock=mapping.time_ms is not None,
        )
        self._zeros, self._scales = _corrections(mapping)

    def plain(self, text: bytes) -> bytes:
        """The lines as they are."""
        return text

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
        return f"{shown(text)}: {made}" if isinstance(made, str) else made

    def taken(self, rows: Floats, ends: NDArray[np.int64]) -> list[Item]:
        """The board's identity before its first reading; then a reading for each output of each row."""
        outputs = len(self._mapping.output)
        if self._mapping.time_ms is None:
            times_ms = np.rint(np.arange(self._lines, self._lines + len(rows)) * self._interval_ms)
        else:
            times_ms = np.rint(rows[:, 0])
        self._lines += len(rows)
        figures = ((rows[:, -2 * outputs :] - self._zeros) * self._scales + 0.0).reshape(-1, 2)  # a zero with a sign is a zero
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


def _corrections(mapping: LineMapping) -> tuple[Floats, Floats]:
    """Zeros and scales of the figures of a line, volts and amps of each output."""
    zeros = [zero for output in mapping.output for zero in (output.volts_zero, output.amps_zero)]
    scales = [scale for output in mapping.output for scale in (output.volts_scale, output.amps_scale)]
    return np.array(zeros), np.array(scales)
