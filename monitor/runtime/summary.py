"""The figures of a whole stream: means, extremes, energy."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Layout
from monitor.values import ReadingBlock, SampleBlock, Step
from monitor.values.arrays import Floats
from monitor.values.grid import rows_of

Whole = NDArray[np.int64]

PARTS_KEPT = 200
"""Parts that wait to be added up; more are added up at once, so that memory grows with the seconds alone."""


class SecondSums:
    """Adds up figures by the second in which they fall; the result does not depend on how they were cut into blocks."""

    def __init__(self, columns: int) -> None:
        self._parts: list[tuple[Whole, Floats, Floats]] = [
            (np.zeros(0, np.int64), np.zeros((0, columns)), np.zeros((0, columns)))
        ]

    def add(self, at_s: Floats, values: Floats, there: NDArray[np.bool_]) -> None:
        """Take figures.

        Args:
            at_s: Shape (n,): seconds at which each is known.
            values: Shape (n, columns).
            there: Shape (n, columns): which of them count.
        """
        seconds = rows_of(at_s, 1.0)
        self._parts.append(_summed(seconds, np.where(there, values, 0.0), there.astype(np.float64)))
        if len(self._parts) > PARTS_KEPT:
            self._join()

    def table(self) -> tuple[Whole, Floats, Floats]:
        """Seconds in which anything came, rising, shape (k,); sums and counts of each, shape (k, columns)."""
        self._join()
        return self._parts[0]

    def _join(self) -> None:
        seconds, sums, counts = (np.concatenate(arrays) for arrays in zip(*self._parts, strict=True))
        self._parts = [_summed(seconds, sums, counts)]


def _summed(seconds: Whole, values: Floats, counts: Floats) -> tuple[Whole, Floats, Floats]:
    numbers, places = np.unique(seconds, return_inverse=True)
    columns = values.shape[1]
    cells = (places[:, None] * columns + np.arange(columns)).ravel()

    def by_second(figures: Floats) -> Floats:
        return np.asarray(np.bincount(cells, figures.ravel(), len(numbers) * columns), np.float64).reshape(-1, columns)

    return numbers, by_second(values), by_second(counts)


SILENT_S = 2.0
"""A board that sends nothing for longer is silent: what is missing up to the stream's end counts as lost (as a port's silence does)."""
ROWS_APART = 2.0
"""Rows further apart than so many times what each stands for have a hole between them; a clock that bends stretches them by half at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DistrictFigures:
    """Figures of one district over the stream; None where there was nothing to measure.

    Means are over time of the one-cycle RMS values; va_max is the highest one-second mean of the apparent power; lost_s counts from the
    board's first scan or row. Where volts or amps reached the end of a sensor's range, they and all that is made of them are lower bounds.
    """

    volts_mean: float | None
    volts_min: float | None
    amps_mean: float | None
    amps_max: float | None
    va_max: float | None
    watts_mean: float | None
    energy_wh: float | None
    lost_s: float
    volts_clipped: bool
    amps_clipped: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyFigures:
    """Figures of one supply over the stream: apparent power summed over all its districts."""

    va_mean: float | None = None
    va_max: float | None
    share_of_rating_max: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """Figures of the whole stream."""

    duration_s: float
    districts: dict[str, DistrictFigures]
    supplies: dict[str, SupplyFigures]


@dataclass(slots=True)
class _Sums:
    """What one district adds up to; weights are seconds."""

    seconds: float = 0.0
    volts: float = 0.0
    amps: float = 0.0
    joules: float = 0.0
    metered_s: float = 0.0
    volts_min: float = np.inf
    amps_max: float = -np.inf
    volts_clipped: bool = False
    amps_clipped: bool = False

    def add(self, *figures: float) -> None:
        """Take the sums of one block: seconds, volts, amps, joules, seconds of watts, lowest volts, highest amps, what was clipped."""
        seconds, volts, amps, joules, metered_s, volts_min, amps_max, volts_clipped, amps_clipped = figures
        self.seconds += seconds
        self.volts += volts
        self.amps += amps
        self.joules += joules
        self.metered_s += metered_s
        self.volts_min = min(self.volts_min, volts_min)
        self.amps_max = max(self.amps_max, amps_max)
        self.volts_clipped |= bool(volts_clipped)
        self.amps_clipped |= bool(amps_clipped)


@dataclass(slots=True)
class _Cover:
    """Of one board: how far its scans or rows reach, and what is missing between."""

    end_s: float
    lost_s: float = 0.0

    def reach(self, block: SampleBlock) -> None:
        """Scans that follow."""
        self.lost_s += 0.0 if block.continues else max(0.0, block.start_s - self.end_s)
        self.end_s = max(self.end_s, block.end_s)

    def reach_rows(self, ends_s: Floats, seconds: Floats) -> None:
        """Rows that follow: what is missing between them is far longer than they stand for."""
        apart_s = np.diff(ends_s, prepend=self.end_s)
        self.lost_s += float(np.maximum(0.0, apart_s - seconds)[apart_s > ROWS_APART * seconds].sum())
        self.end_s = float(ends_s[-1])


class SummaryBuilder:
    """Adds up steps; the result does not depend on how the stream was cut."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._sums = {district.name: _Sums() for district in layout.district}
        self._now_s = 0.0
        self._scans: dict[str, _Cover] = {}
        self._rows: dict[str, _Cover] = {}
        self._seconds: dict[str, SecondSums] = {}
        self._columns: dict[str, tuple[str, int]] = {}

    def add(self, step: Step) -> None:
        """Take one step."""
        self._now_s = max(self._now_s, step.now_s)
        for block in step.samples:
            self._scans.setdefault(block.board, _Cover(block.start_s)).reach(block)
        for readings in step.readings:
            self._add_readings(readings)

    def _add_readings(self, block: ReadingBlock) -> None:
        if block.board not in self._seconds:
            self._rows[block.board] = _Cover(float(block.start_s[0]))
            self._seconds[block.board] = SecondSums(len(block.districts))
            self._columns.update((name, (block.board, column)) for column, name in enumerate(block.districts))
        span_s = block.seconds
        self._rows[block.board].reach_rows(block.end_s, span_s)
        # Columns lie side by side, so that each is added up by itself.
        volts, amps, watts = (np.ascontiguousarray(each.T) for each in (block.volts_rms, block.amps_rms, block.watts))
        good = np.isfinite(volts) & np.isfinite(amps)
        metered = good & np.isfinite(watts)
        none = np.zeros(len(block.districts))
        figures = np.stack(
            [
                _sum(span_s, good),
                _sum(volts * span_s, good),
                _sum(amps * span_s, good),
                _sum(watts * span_s, metered),
                _sum(span_s, metered),
                np.where(good, volts, np.inf).min(axis=1),
                np.where(good, amps, -np.inf).max(axis=1),
                *(none if marks is None else marks.any(axis=0) for marks in (block.volts_clipped, block.amps_clipped)),
            ],
            axis=1,
        )
        for name, row in zip(block.districts, figures.tolist(), strict=True):
            self._sums[name].add(*row)
        self._seconds[block.board].add(block.end_s, (volts * amps).T, good.T)

    def build(self) -> Summary:
        """The figures so far."""
        return Summary(
            duration_s=self._now_s,
            districts={name: self._district(name, sums) for name, sums in self._sums.items()},
            supplies={supply.name: self._supply(supply.name, supply.plate_va) for supply in self._layout.supply},
        )

    def _district(self, name: str, sums: _Sums) -> DistrictFigures:
        there = sums.seconds > 0
        return DistrictFigures(
            volts_mean=sums.volts / sums.seconds if there else None,
            volts_min=sums.volts_min if there else None,
            amps_mean=sums.amps / sums.seconds if there else None,
            amps_max=sums.amps_max if there else None,
            va_max=float(self._va(name)[1].max()) if there else None,
            watts_mean=sums.joules / sums.metered_s if sums.metered_s else None,
            energy_wh=sums.joules / 3600 if sums.metered_s else None,
            lost_s=self._lost_s(name),
            volts_clipped=sums.volts_clipped,
            amps_clipped=sums.amps_clipped,
        )

    def _lost_s(self, name: str) -> float:
        """What is missing of a board's scans, or of its rows where it sends no scans; all of the stream where nothing came."""
        board = next(district.board for district in self._layout.district if district.name == name)
        scans, rows = self._scans.get(board), self._rows.get(board)
        cover = scans or rows
        if cover is None:
            return self._now_s
        silent_s = self._now_s - cover.end_s
        return cover.lost_s + (silent_s if silent_s > SILENT_S else 0.0)

    def _supply(self, name: str, plate_va: float) -> SupplyFigures:
        parts = [self._va(district.name) for district in self._layout.districts_of_supply(name)]
        seconds = np.unique(np.concatenate([numbers for numbers, _va in parts] or [np.zeros(0, np.int64)]))
        if not len(seconds):
            return SupplyFigures(va_mean=None, va_max=None, share_of_rating_max=None)
        totals = np.zeros(len(seconds))
        for numbers, va in parts:
            totals[np.searchsorted(seconds, numbers)] += va
        va_max = float(totals.max())
        return SupplyFigures(
            va_mean=sum(totals.tolist()) / len(totals),
            va_max=va_max,
            share_of_rating_max=va_max / plate_va if plate_va else None,
        )

    def _va(self, name: str) -> tuple[NDArray[np.int64], Floats]:
        """Mean apparent power of a district in each second that has any."""
        if name not in self._columns:
            return np.zeros(0, np.int64), np.zeros(0)
        board, column = self._columns[name]
        numbers, sums, counts = self._seconds[board].table()
        there = counts[:, column] > 0
        return numbers[there], sums[there, column] / counts[there, column]


def _sum(values: Floats | float, there: NDArray[np.bool_]) -> Floats:
    """Sum of each row over what is there."""
    return np.asarray(np.where(there, values, 0.0).sum(axis=1))
