"""Readings of a line board gathered into rows: one row a round of outputs, calibrated, and judged by what they can be."""

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Layout
from monitor.metering import thresholds as th
from monitor.metering.line_outputs import LineOutputs
from monitor.metering.line_plausibility import LinePlausibility
from monitor.metering.metered import Metered
from monitor.values import LineReadings, ReadingBlock
from monitor.values.arrays import Floats


class LineRows:
    """Gathers what a line board sends; results do not depend on how its lines are cut into blocks.

    A row holds one reading of each output. It is complete when every output of the layout file has come, or when an output comes
    again that it already has.
    """

    def __init__(self, layout: Layout, board: str) -> None:
        self._board = board
        districts = layout.districts_of_board(board)
        columns = {d.volts_channel // 2: k for k, d in enumerate(districts) if d.amps_channel == d.volts_channel + 1}
        self._width = len(columns)
        self._names = tuple(d.name for d in districts)
        # By output, and -1 for any beyond.
        self._column_of = np.full(max(columns, default=0) + 2, -1, dtype=np.int16)
        self._column_of[list(columns)] = list(columns.values())
        channels = [(d.volts_channel, d.amps_channel) for d in districts]
        corrections = [[layout.channel_calibration(board, channel) for channel in pair] for pair in channels]
        self._zeros = np.array([[c.zero for c in pair] for pair in corrections]).reshape(-1, 2).T
        self._gains = np.array([[c.gain for c in pair] for pair in corrections]).reshape(-1, 2).T
        self._plausibility = LinePlausibility(layout, board)
        self._outputs = LineOutputs(layout, board)
        # Of the row that is not complete: columns, and their times, volts, amps and watts.
        self._open_columns = np.zeros(0, dtype=np.int16)
        self._open_figures = np.zeros((4, 0))
        self._last_s: float | None = None

    def feed(self, readings: LineReadings, times_s: Floats) -> Metered:
        """Rows that became complete, and what is wrong with them."""
        troubles = self._outputs.look(readings.outputs, times_s)
        columns = self._column_of[np.minimum(readings.outputs, len(self._column_of) - 1)]
        ours = columns >= 0
        figures = np.stack([times_s, readings.volts_rms, readings.amps_rms, readings.watts])[:, ours]
        columns = np.concatenate([self._open_columns, columns[ours]])
        figures = np.concatenate([self._open_figures, figures], axis=1)
        ends = _row_ends(columns, self._width)
        done = int(ends[-1]) if len(ends) else 0
        self._open_columns, self._open_figures = columns[done:], figures[:, done:]
        metered = self._rows(columns[:done], figures[:, :done], ends)
        metered.troubles += troubles
        return metered

    def finish(self) -> Metered:
        """The row that is still incomplete, if any."""
        columns, figures = self._open_columns, self._open_figures
        self._open_columns, self._open_figures = columns[:0], figures[:, :0]
        return self._rows(columns, figures, np.array([len(columns)] if len(columns) else [], dtype=np.intp))

    def _rows(self, columns: NDArray[np.int16], figures: Floats, ends: NDArray[np.intp]) -> Metered:
        if not len(ends):
            return Metered()
        table = np.full((4, len(ends), len(self._names)), np.nan)
        table[:, np.repeat(np.arange(len(ends)), np.diff(ends, prepend=0)), columns] = figures
        table[1:3] = (table[1:3] - self._zeros[:, np.newaxis]) * self._gains[:, np.newaxis]
        table[3] *= self._gains.prod(axis=0)
        end_s = np.nanmax(table[0], axis=1)
        start_s = np.concatenate([[end_s[0] - th.USUAL_INTERVAL_S if self._last_s is None else self._last_s], end_s[:-1]])
        self._last_s = float(end_s[-1])
        judged = self._plausibility.judge(table[1:3], end_s)
        none = np.full_like(table[0], np.nan)
        block = ReadingBlock(
            board=self._board,
            districts=self._names,
            start_s=start_s,
            end_s=end_s,
            volts_rms=judged.figures[0],
            amps_rms=judged.figures[1],
            volts_mean=none,
            amps_mean=none,
            watts=np.where(np.isnan(judged.figures).any(axis=0), np.nan, table[3]),
            volts_peak=none,
            amps_peak=none,
            far_volts_rms=none,
            frequency_hz=none[:, 0],
            good=self._outputs.marked(judged.good, end_s, len(self._names)),
            amps_clipped=judged.amps_clipped,
        )
        return Metered(readings=[block], troubles=judged.troubles)


def _row_ends(columns: NDArray[np.int16], width: int) -> NDArray[np.intp]:
    """Where each complete row ends: before a column that it already has, or as soon as it has as many as there are."""
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
