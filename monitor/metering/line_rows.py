"""Readings of a line board gathered into rows: one row a round of outputs, calibrated, and judged by what they can be."""

import numpy as np
from numpy.typing import NDArray

from monitor.layout import District, Layout
from monitor.metering import thresholds as th
from monitor.metering.line_plausibility import LinePlausibility
from monitor.metering.metered import Metered, Trouble
from monitor.values import FindingKind, LineReadings, ReadingBlock
from monitor.values.arrays import Bools, Floats, Ints


class LineOutputs:
    """Watches the outputs of one board, in order; results do not depend on how its readings are cut into blocks."""

    def __init__(self, layout: Layout, board: str) -> None:
        self._board = board
        self._wanted: dict[int, District] = {d.volts_channel // 2: d for d in layout.districts_of_board(board)}
        self._began_s: float | None = None
        self._seen: set[int] = set()
        self._is_settled = False
        self._counts_from_1 = False

    def look(self, outputs: NDArray[np.int64], times_s: Floats) -> list[Trouble]:
        """Outputs of the next readings, and when; what is missing once, as soon as that is sure."""
        if self._is_settled or not len(outputs):
            return []
        if self._began_s is None:
            self._began_s = float(times_s[0])
        late = np.flatnonzero(times_s > self._settled_s)
        early = outputs[: late[0]] if len(late) else outputs
        self._seen |= set(np.unique(early).tolist())
        if not len(late):
            return []
        self._is_settled = True
        missing = sorted(set(self._wanted) - self._seen)
        self._counts_from_1 = 0 in missing and max(self._seen, default=0) == max(self._wanted) + 1
        return [self._trouble(output) for output in missing[: 1 if self._counts_from_1 else None]]

    @property
    def _settled_s(self) -> float:
        return th.SETTLED_AFTER_S + (self._began_s or 0.0)

    def marked(self, good: Bools | None, end_s: Floats, districts: int) -> Bools | None:
        """Which figures of rows are good, where none is whose output is its neighbour's."""
        if not self._counts_from_1 or end_s[-1] <= self._settled_s:
            return good
        marked = np.ones((len(end_s), districts), dtype=bool) if good is None else good.copy()
        marked[end_s > self._settled_s] = False
        return marked

    def _trouble(self, output: int) -> Trouble:
        district, sent = self._wanted[output], ", ".join(map(str, sorted(self._seen)))
        if self._counts_from_1:
            check = (
                f'Board "{self._board}" sends outputs {sent}, and output 0 never comes: does its sketch count them from 1? They count '
                "from 0, so every district shows the figures of its neighbour, and none is right: correct the sketch, or the channels "
                "of the districts."
            )
        else:
            check = (
                f'Board "{self._board}" sends outputs {sent} only, but {district.name} is on output {output} (channels {2 * output} and '
                f"{2 * output + 1}), which never comes: correct the district's channels, or let the sketch send it."
            )
        at_s = self._settled_s
        return Trouble(
            kind=FindingKind.IMPLAUSIBLE, channel=district.volts_channel, start_s=at_s, end_s=at_s, count=1, check=check
        )


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

    def _rows(self, columns: NDArray[np.int16], figures: Floats, ends: Ints) -> Metered:
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


def _row_ends(columns: NDArray[np.int16], width: int) -> Ints:
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
