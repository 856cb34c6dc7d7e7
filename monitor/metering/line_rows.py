"""Readings of a line board gathered into rows: one row a round of outputs."""

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Layout
from monitor.values import LineReadings, ReadingBlock

Floats = NDArray[np.float64]
USUAL_INTERVAL_S = 0.1


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
        self._row: dict[int, tuple[float, float, float, float]] = {}
        self._last_s: float | None = None

    def feed(self, readings: LineReadings, times_s: Floats) -> list[ReadingBlock]:
        """Rows that became complete.

        Args:
            readings: n readings in the order they came.
            times_s: Shape (n,): their board times, seconds.
        """
        rows: list[dict[int, tuple[float, float, float, float]]] = []
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
        return [self._block(rows)] if rows else []

    def finish(self) -> list[ReadingBlock]:
        """The row that is still incomplete, if any."""
        rows = [self._row] if self._row else []
        self._row = {}
        return [self._block(rows)] if rows else []

    def _block(self, rows: list[dict[int, tuple[float, float, float, float]]]) -> ReadingBlock:
        table = np.full((len(rows), len(self._names), 4), np.nan)
        for k, row in enumerate(rows):
            for column, figures in row.items():
                table[k, column] = figures
        end_s = np.nanmax(table[:, :, 0], axis=1)
        start_s = np.concatenate([[end_s[0] - USUAL_INTERVAL_S if self._last_s is None else self._last_s], end_s[:-1]])
        self._last_s = float(end_s[-1])
        none = np.full((len(rows), len(self._names)), np.nan)
        return ReadingBlock(
            board=self._board,
            districts=self._names,
            start_s=start_s,
            end_s=end_s,
            volts_rms=table[:, :, 1],
            amps_rms=table[:, :, 2],
            volts_mean=none,
            amps_mean=none,
            watts=table[:, :, 3],
            volts_peak=none,
            amps_peak=none,
            far_volts_rms=none,
            frequency_hz=none[:, 0],
        )
