"""The figures of a whole stream: means, extremes, energy."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Layout
from monitor.values import ReadingBlock, SampleBlock, Step
from monitor.values.arrays import Floats

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
            at_s: Shape (n,): seconds.
            values: Shape (n, columns).
            there: Shape (n, columns): which of them count.
        """
        seconds = np.floor(at_s).astype(np.int64)
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


HOLE_HOPS = 3
"""Readings that are so many times as far apart as those before have a hole between them."""

APART_HOPS = 1.5
"""Readings of whole cycles, half a cycle apart, that are further apart than this have a hole between them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DistrictFigures:
    """Figures of one district over the stream; None where there was nothing to measure.

    Means are over time of the one-cycle RMS values; va_max is the highest one-second mean of the apparent power.
    """

    volts_mean: float | None
    volts_min: float | None
    amps_mean: float | None
    amps_max: float | None
    va_max: float | None
    watts_mean: float | None
    energy_wh: float | None
    lost_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyFigures:
    """Figures of one supply over the stream: apparent power summed over all its districts."""

    va_mean: float | None
    va_max: float | None
    share_of_rating_max: float | None


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
    watts: float = 0.0
    watts_seconds: float = 0.0
    volts_min: float = np.inf
    amps_max: float = -np.inf
    covered_s: float = 0.0

    def add(self, *figures: float) -> None:
        """Take the sums of one block: seconds, volts, amps, watts, seconds of watts, lowest volts, highest amps."""
        seconds, volts, amps, watts, watts_seconds, volts_min, amps_max = figures
        self.seconds += seconds
        self.volts += volts
        self.amps += amps
        self.watts += watts
        self.watts_seconds += watts_seconds
        self.volts_min = min(self.volts_min, volts_min)
        self.amps_max = max(self.amps_max, amps_max)


class SummaryBuilder:
    """Adds up steps; the result does not depend on how the stream was cut."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._sums = {district.name: _Sums() for district in layout.district}
        self._sampled: set[str] = set()
        self._now_s = 0.0
        self._usual_s: dict[str, float] = {}
        self._end_s: dict[str, float] = {}
        self._seconds: dict[str, SecondSums] = {}
        self._columns: dict[str, tuple[str, int]] = {}

    def add(self, step: Step) -> None:
        """Take one step."""
        self._now_s = max(self._now_s, step.now_s)
        for block in step.samples:
            self._cover(block)
        for readings in step.readings:
            self._add_readings(readings)

    def _cover(self, block: SampleBlock) -> None:
        for district in self._layout.districts_of_board(block.board):
            self._sums[district.name].covered_s += block.end_s - block.start_s
            self._sampled.add(district.name)

    def _add_readings(self, block: ReadingBlock) -> None:
        stand_s = self._stand_s(block)
        # Columns lie side by side, so that each is added up by itself.
        volts, amps, watts = (np.ascontiguousarray(each.T) for each in (block.volts_rms, block.amps_rms, block.watts))
        good = np.isfinite(volts) & np.isfinite(amps)
        metered = good & np.isfinite(watts)
        figures = np.stack(
            [
                _sum(stand_s, good),
                _sum(volts * stand_s, good),
                _sum(amps * stand_s, good),
                _sum(watts * stand_s, metered),
                _sum(stand_s, metered),
                np.where(good, volts, np.inf).min(axis=1),
                np.where(good, amps, -np.inf).max(axis=1),
            ],
            axis=1,
        )
        for name, row in zip(block.districts, figures.tolist(), strict=True):
            self._sums[name].add(*row)
        if block.board not in self._seconds:
            self._seconds[block.board] = SecondSums(len(block.districts))
            self._columns.update((name, (block.board, column)) for column, name in enumerate(block.districts))
        self._seconds[block.board].add(block.end_s, (volts * amps).T, good.T)

    def _stand_s(self, block: ReadingBlock) -> Floats:
        """How long each reading stands: since the one before it, or where windows overlap and it begins after a hole, all of its own."""
        hop_s = self._hop_s(block)
        stand_s = np.full(len(block), hop_s)
        if (block.start_s[1:] < block.end_s[:-1]).any():
            anew = np.diff(block.end_s, prepend=self._end_s.get(block.board, -np.inf)) > APART_HOPS * hop_s
            stand_s[anew] = np.minimum(block.end_s[anew] - block.start_s[anew], 2 * hop_s)
        self._end_s[block.board] = float(block.end_s[-1])
        return stand_s

    def _hop_s(self, block: ReadingBlock) -> float:
        """How long each reading of a block stands: what comes after a hole, be it alone, stands no longer than others."""
        hop_s = float(np.median(np.diff(block.end_s))) if len(block) > 1 else float(block.end_s[0] - block.start_s[0])
        before_s = self._usual_s.get(block.board, hop_s)
        self._usual_s[block.board] = hop_s
        return hop_s if hop_s <= HOLE_HOPS * before_s else before_s

    def build(self) -> Summary:
        """The figures so far."""
        return Summary(
            duration_s=self._now_s,
            districts={name: self._district(name, sums) for name, sums in self._sums.items()},
            supplies={supply.name: self._supply(supply.name, supply.plate_va) for supply in self._layout.supply},
        )

    def _district(self, name: str, sums: _Sums) -> DistrictFigures:
        covered_s = sums.covered_s if name in self._sampled else sums.seconds
        lost_s = max(0.0, self._now_s - covered_s)
        if not sums.seconds:
            return DistrictFigures(
                volts_mean=None,
                volts_min=None,
                amps_mean=None,
                amps_max=None,
                va_max=None,
                watts_mean=None,
                energy_wh=None,
                lost_s=lost_s,
            )
        watts_mean = sums.watts / sums.watts_seconds if sums.watts_seconds else None
        return DistrictFigures(
            volts_mean=sums.volts / sums.seconds,
            volts_min=sums.volts_min,
            amps_mean=sums.amps / sums.seconds,
            amps_max=sums.amps_max,
            va_max=float(self._va(name)[1].max()),
            watts_mean=watts_mean,
            energy_wh=None if watts_mean is None else watts_mean * sums.seconds / 3600,
            lost_s=lost_s,
        )

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
