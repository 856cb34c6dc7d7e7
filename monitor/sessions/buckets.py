"""Readings of every half cycle gathered into rows of a fifth of a second: what a session keeps of them.

All readings at half-cycle rate would be 120 rows a second and district, most of a session's size, and can be made again from the
raw bytes. What is kept holds their mean, lowest and highest, so that no peak is lost.
"""

from dataclasses import MISSING, fields

import numpy as np
from numpy.typing import NDArray

from monitor.values import ReadingBlock
from monitor.values.arrays import Floats
from monitor.values.grid import REDUCTIONS, first_of_rows, mean, rows_of

Table = dict[str, NDArray[np.generic]]

BUCKET_S = 0.2
HELD_LIMIT_ROWS = 100_000
"""Readings of one board held until their bucket is over; a board that sends more in a fifth of a second is out of its mind."""

FIGURES: dict[str, tuple[str, str]] = {
    "volts_rms": ("volts_rms", "rms"),
    "volts_lowest": ("volts_rms", "lowest"),
    "volts_highest": ("volts_rms", "highest"),
    "amps_rms": ("amps_rms", "rms"),
    "amps_lowest": ("amps_rms", "lowest"),
    "amps_highest": ("amps_rms", "highest"),
    "watts": ("watts", "mean"),
    "volt_amperes": ("volt_amperes", "mean"),
    "volts_mean": ("volts_mean", "mean"),
    "amps_mean": ("amps_mean", "mean"),
    "volts_peak": ("volts_peak", "highest"),
    "amps_peak": ("amps_peak", "highest"),
    "far_volts_rms": ("far_volts_rms", "rms"),
}
"""Column of the kept table: the figure of a reading that it is made of, and how."""


class BoardBuckets:
    """Gathers the readings of one board; the result does not depend on how they were cut into blocks."""

    def __init__(self) -> None:
        self._held: list[ReadingBlock] = []
        self._rows = 0

    def add(self, block: ReadingBlock) -> None:
        """Take readings."""
        if len(block) and self._rows + len(block) <= HELD_LIMIT_ROWS:
            self._held.append(block)
            self._rows += len(block)

    def take(self, *, everything: bool = False) -> Table | None:
        """Rows of the buckets that are over, of all of them at the end; None where there are none."""
        if not self._held:
            return None
        ends = np.concatenate([block.end_s for block in self._held])
        numbers = rows_of(ends, BUCKET_S)
        done = len(numbers) if everything else int(np.searchsorted(numbers, numbers[-1]))
        if not done:
            return None
        edges = first_of_rows(numbers[:done])
        table = self._table(numbers[edges], edges, done)
        self._held = [_rest(self._held, done)] if done < len(numbers) else []
        self._rows -= done
        return table

    def _table(self, numbers: NDArray[np.int64], edges: NDArray[np.intp], done: int) -> Table:
        districts = self._held[0].districts
        columns = {
            name: REDUCTIONS[how](self._figure(figure, done), edges).T.reshape(-1) for name, (figure, how) in FIGURES.items()
        }
        hertz = np.concatenate([block.frequency_hz for block in self._held])[:done, None]
        volts, amps, watts = (np.isfinite(self._figure(name, done)) for name in ("volts_rms", "amps_rms", "watts"))
        seconds = self._figure("seconds", done)[:, None]
        joules = np.nan_to_num(self._figure("watts", done)) * seconds
        return {
            "at_s": np.tile(numbers * BUCKET_S, len(districts)),
            "district": np.repeat(np.array(districts, dtype=object), len(numbers)),
            **columns,
            "frequency_hz": np.tile(mean(hertz, edges)[:, 0], len(districts)),
            "seconds": _summed((volts & amps) * seconds, edges),
            "joules": np.where(_counted(watts, edges) > 0, _summed(joules, edges), np.nan),
            "readings": _counted(volts | amps, edges),
            "doubtful": _counted(~self._marks("good", done), edges),
            "clipped": _counted(self._marks("amps_clipped", done), edges),
            "clipped_volts": _counted(self._marks("volts_clipped", done), edges),
        }

    def _marks(self, name: str, done: int) -> NDArray[np.bool_]:
        return np.concatenate([_mark(block, name) for block in self._held])[:done]

    def _figure(self, name: str, done: int) -> Floats:
        return np.concatenate([getattr(block, name) for block in self._held])[:done]


def _rest(blocks: list[ReadingBlock], done: int) -> ReadingBlock:
    # What a block need not have is not kept in rows either, but for what says which figures are good or a lower bound.
    names = [each.name for each in fields(ReadingBlock) if each.default is MISSING and each.name not in ("board", "districts")]
    rows = {name: np.concatenate([getattr(block, name) for block in blocks])[done:] for name in names}
    marks = {name: np.concatenate([_mark(block, name) for block in blocks])[done:] for name in _WITHOUT_MARKS}
    return ReadingBlock(board=blocks[0].board, districts=blocks[0].districts, **rows, **marks)


_WITHOUT_MARKS = {"good": True, "amps_clipped": False, "volts_clipped": False}


def _mark(block: ReadingBlock, name: str) -> NDArray[np.bool_]:
    marks: NDArray[np.bool_] | None = getattr(block, name)
    return np.full(block.volts_rms.shape, _WITHOUT_MARKS[name]) if marks is None else marks


def _summed(values: Floats, edges: NDArray[np.intp]) -> Floats:
    return np.asarray(np.add.reduceat(values, edges, axis=0).T.reshape(-1))


def _counted(marks: NDArray[np.bool_], edges: NDArray[np.intp]) -> NDArray[np.int32]:
    return _summed(marks.astype(np.float64), edges).astype(np.int32)
