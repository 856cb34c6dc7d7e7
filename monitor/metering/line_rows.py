"""Readings of a line board gathered into rows: one row a round of outputs."""

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Layout
from monitor.values import LineReadings, ReadingBlock

Floats = NDArray[np.float64]
_Row = dict[int, tuple[float, float, float, float]]
"""Time, volts, amps and watts by column."""

USUAL_INTERVAL_S = 0.1
FEW_READINGS = 64
"""Fewer readings are gathered one by one in less time than at once."""


class LineRows:
    """Gathers what a line board sends; results do not depend on how its lines are cut into blocks.

    A row holds one reading of each output. It is complete when every output of the layout file has come, or when an output comes
    again that it already has.
    """

    def __init__(self, layout: Layout, board: str) -> None:
        self._board = board
        self._districts = layout.districts_of_board(board)
        self._columns = {d.volts_channel // 2: k for k, d in enumerate(self._districts) if d.amps_channel == d.volts_channel + 1}
        self._names = tuple(d.name for d in self._districts)
        # By output, and -1 for any beyond.
        self._column_of = np.full(max(self._columns, default=0) + 2, -1, dtype=np.int16)
        self._column_of[list(self._columns)] = list(self._columns.values())
        self._row: _Row = {}
        self._last_s: float | None = None

    def feed(self, readings: LineReadings, times_s: Floats) -> list[ReadingBlock]:
        """Rows that became complete.

        Args:
            readings: n readings in the order they came.
            times_s: Shape (n,): their board times, seconds.
        """
        table = self._few(readings, times_s) if len(times_s) < FEW_READINGS else self._many(readings, times_s)
        return [] if table is None else [self._block(table)]

    def finish(self) -> list[ReadingBlock]:
        """The row that is still incomplete, if any."""
        rows = [self._row] if self._row else []
        self._row = {}
        return [self._block(self._table(rows))] if rows else []

    def _few(self, readings: LineReadings, times_s: Floats) -> Floats | None:
        """A table of the rows that became complete, if any: reading by reading."""
        rows: list[_Row] = []
        for time_s, output, volts, amps, watts in zip(
            times_s.tolist(),
            readings.outputs.tolist(),
            readings.volts_rms.tolist(),
            readings.amps_rms.tolist(),
            readings.watts.tolist(),
            strict=True,
        ):
            column = self._columns.get(output)
            if column is None:
                continue
            if column in self._row:
                rows.append(self._row)
                self._row = {}
            self._row[column] = (time_s, volts, amps, watts)
            if len(self._row) == len(self._columns):
                rows.append(self._row)
                self._row = {}
        return self._table(rows) if rows else None

    def _many(self, readings: LineReadings, times_s: Floats) -> Floats | None:
        """The same, all readings at once."""
        columns = self._column_of[np.minimum(readings.outputs, len(self._column_of) - 1)]
        ours = columns >= 0
        figures = np.stack([times_s, readings.volts_rms, readings.amps_rms, readings.watts])[:, ours]
        columns = np.concatenate([np.array(list(self._row), dtype=np.int16), columns[ours]])
        figures = np.concatenate([np.array(list(self._row.values())).reshape(-1, 4).T, figures], axis=1)
        ends = _row_ends(columns, len(self._columns))
        done = int(ends[-1]) if len(ends) else 0
        self._row = dict(zip(columns[done:].tolist(), map(tuple, figures[:, done:].T.tolist()), strict=True))
        if not done:
            return None
        table = np.full((4, len(ends), len(self._names)), np.nan)
        table[:, np.repeat(np.arange(len(ends)), np.diff(ends, prepend=0)), columns[:done]] = figures[:, :done]
        return table

    def _table(self, rows: list[_Row]) -> Floats:
        """Rows as an array, shape (4, rows, districts): times, volts, amps, watts."""
        table = np.full((4, len(rows), len(self._names)), np.nan)
        for k, row in enumerate(rows):
            for column, figures in row.items():
                table[:, k, column] = figures
        return table

    def _block(self, table: Floats) -> ReadingBlock:
        end_s = np.nanmax(table[0], axis=1)
        start_s = np.concatenate([[end_s[0] - USUAL_INTERVAL_S if self._last_s is None else self._last_s], end_s[:-1]])
        self._last_s = float(end_s[-1])
        none = np.full_like(table[0], np.nan)
        return ReadingBlock(
            board=self._board,
            districts=self._names,
            start_s=start_s,
            end_s=end_s,
            volts_rms=table[1],
            amps_rms=table[2],
            volts_mean=none,
            amps_mean=none,
            watts=table[3],
            volts_peak=none,
            amps_peak=none,
            far_volts_rms=none,
            frequency_hz=none[:, 0],
        )


def _row_ends(columns: NDArray[np.int16], width: int) -> NDArray[np.intp]:
    """Where each complete row ends: before a column that it already has, or as soon as it has as many as there are.

    Args:
        columns: Shape (n,): column of each reading.
        width: How many columns there are.
    """
    order = np.argsort(columns, kind="stable")
    again = columns[order[1:]] == columns[order[:-1]]
    repeats = np.full(len(columns), len(columns) + width)
    repeats[order[:-1][again]] = order[1:][again]
    # By where a row begins: the first reading of a column that came since.
    clashes = np.minimum.accumulate(repeats[::-1])[::-1]
    next_starts = np.minimum(clashes, np.arange(len(columns)) + width).tolist()
    ends: list[int] = []
    start = 0
    while start < len(columns) and next_starts[start] <= len(columns):
        start = next_starts[start]
        ends.append(start)
    return np.array(ends, dtype=np.intp)
