"""Readings: what the meter makes of the samples."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from monitor.values.powers import PowerFigures


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingBlock(PowerFigures):
    """One-cycle readings of all districts of one board, refreshed every half cycle (or as a line board sends them).

    Rows are windows in order of time, n of them; columns are districts, d of them. NaN stands for "no reading".

    Attributes:
        board: The board's name in the layout file.
        districts: Names of the columns.
        start_s: Shape (n,): where each window begins.
        end_s: Shape (n,): where each window ends; a reading is known from this moment.
        volts_rms: Shape (n, d): root mean square over the window, like all of shape (n, d) below.
        amps_rms: RMS amps.
        volts_mean: Mean (DC) volts; NaN from a line board.
        amps_mean: Mean (DC) amps; NaN from a line board.
        watts: Real power, mean of volts times amps; NaN where a line board does not send it.
        volts_peak: Highest absolute volts in the window; NaN from a line board.
        amps_peak: Highest absolute amps in the window; NaN from a line board.
        far_volts_rms: RMS volts at the far end of the district; NaN where no channel measures it.
        frequency_hz: Shape (n,): mains frequency that the windows are locked to; NaN where there is none.
        good: Boolean, shape (n, d): False where a sensor is known to lie (clipped, stuck, crossed ...) so that the figures may
            not be shown as good; a clipped figure is a lower bound. None where nothing is known against any.
        amps_clipped: Boolean, shape (n, d): amps stood at the end of the converter's range. None where nobody knows.
    """

    board: str
    districts: tuple[str, ...]
    start_s: NDArray[np.float64]
    end_s: NDArray[np.float64]
    volts_rms: NDArray[np.float64]
    amps_rms: NDArray[np.float64]
    volts_mean: NDArray[np.float64]
    amps_mean: NDArray[np.float64]
    watts: NDArray[np.float64]
    volts_peak: NDArray[np.float64]
    amps_peak: NDArray[np.float64]
    far_volts_rms: NDArray[np.float64]
    frequency_hz: NDArray[np.float64]
    good: NDArray[np.bool_] | None = None
    amps_clipped: NDArray[np.bool_] | None = None

    def __len__(self) -> int:
        """How many rows."""
        return len(self.end_s)

    def where(self, keep: NDArray[np.bool_]) -> "ReadingBlock":
        """Only those rows for which keep, shape (n,), is True."""
        arrays = {name: figures[keep] for name in _ARRAYS if (figures := getattr(self, name)) is not None}
        return replace(self, **arrays)


def joined_readings(blocks: Sequence[ReadingBlock]) -> list[ReadingBlock]:
    """Blocks of one board that follow each other, in one, where nothing is known against any of their figures."""
    if len(blocks) < 2 or any(block.good is not None or block.amps_clipped is not None for block in blocks):
        return list(blocks)
    arrays = {name: np.concatenate([getattr(block, name) for block in blocks]) for name in _ARRAYS if name not in _MARKS}
    return [ReadingBlock(board=blocks[0].board, districts=blocks[0].districts, **arrays)]


_ARRAYS = tuple(each.name for each in fields(ReadingBlock) if each.name not in ("board", "districts"))
_MARKS = ("good", "amps_clipped")
