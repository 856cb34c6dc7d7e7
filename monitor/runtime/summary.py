"""The figures of a whole stream: means, extremes, energy."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Layout
from monitor.values import ReadingBlock, SampleBlock, Step

Floats = NDArray[np.float64]
HOLE_HOPS = 3
"""Readings that are so many times as far apart as those before have a hole between them."""


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
    va_seconds: dict[int, list[float]] = field(default_factory=dict)


class SummaryBuilder:
    """Adds up steps; the result does not depend on how the stream was cut."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._sums = {district.name: _Sums() for district in layout.district}
        self._sampled: set[str] = set()
        self._now_s = 0.0
        self._usual_s: dict[str, float] = {}

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
        hops_s = np.full(len(block), self._hop_s(block))
        seconds = np.floor(block.end_s).astype(int)
        for column, name in enumerate(block.districts):
            self._add_column(self._sums[name], block, column, hops_s, seconds)

    def _hop_s(self, block: ReadingBlock) -> float:
        """How long each reading of a block stands: what comes after a hole, be it alone, stands no longer than others."""
        hop_s = float(np.median(np.diff(block.end_s))) if len(block) > 1 else float(block.end_s[0] - block.start_s[0])
        before_s = self._usual_s.get(block.board, hop_s)
        self._usual_s[block.board] = hop_s
        return hop_s if hop_s <= HOLE_HOPS * before_s else before_s

    @staticmethod
    def _add_column(sums: _Sums, block: ReadingBlock, column: int, hops_s: Floats, seconds: NDArray[np.int64]) -> None:
        volts, amps, watts = block.volts_rms[:, column], block.amps_rms[:, column], block.watts[:, column]
        good = np.isfinite(volts) & np.isfinite(amps)
        if not good.any():
            return
        sums.seconds += float(hops_s[good].sum())
        sums.volts += float((volts * hops_s)[good].sum())
        sums.amps += float((amps * hops_s)[good].sum())
        sums.volts_min = min(sums.volts_min, float(volts[good].min()))
        sums.amps_max = max(sums.amps_max, float(amps[good].max()))
        metered = good & np.isfinite(watts)
        sums.watts += float((watts * hops_s)[metered].sum())
        sums.watts_seconds += float(hops_s[metered].sum())
        va = np.where(good, volts * amps, 0.0)
        first = int(seconds[0])
        totals = np.bincount(seconds - first, weights=va)
        counts = np.bincount(seconds - first, weights=good.astype(float))
        for k in np.flatnonzero(counts).tolist():
            second = sums.va_seconds.setdefault(first + k, [0.0, 0.0])
            second[0] += float(totals[k])
            second[1] += float(counts[k])

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
            va_max=max(total / count for total, count in sums.va_seconds.values()),
            watts_mean=watts_mean,
            energy_wh=None if watts_mean is None else watts_mean * sums.seconds / 3600,
            lost_s=lost_s,
        )

    def _supply(self, name: str, plate_va: float) -> SupplyFigures:
        totals: dict[int, float] = {}
        for district in self._layout.districts_of_supply(name):
            for second, (total, count) in self._sums[district.name].va_seconds.items():
                totals[second] = totals.get(second, 0.0) + total / count
        if not totals:
            return SupplyFigures(va_mean=None, va_max=None, share_of_rating_max=None)
        va_max = max(totals.values())
        return SupplyFigures(
            va_mean=sum(totals.values()) / len(totals),
            va_max=va_max,
            share_of_rating_max=va_max / plate_va if plate_va else None,
        )
