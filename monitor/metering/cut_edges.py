"""The steep edges of phase-cut waveforms, found between samples and taken for what they were before the board's filter.

At 20 samples a cycle a triac's edge lies anywhere within a twentieth of the cycle, and a plain sum of squares is wrong by up to
10 % of the RMS (90 degrees). Around an edge lie a sample that saw nothing of it, one or more that may have caught it on the way, and
settled ones that lie on the mains sine (:mod:`~monitor.metering.edge_shapes`). From the settled ones follows what each of the others
is a fraction of, from the fractions the place of the edge (:mod:`~monitor.metering.edge_shapes`, :mod:`~monitor.metering.edge_track`),
and the cells around it are integrated as what the rail had: nothing on one side, a piece of the sine on the other.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.metering import thresholds as th
from monitor.metering.edge_shapes import EdgeResponse, Edges, trapezoid
from monitor.metering.edge_track import EdgePlaces, Fading, crept
from monitor.values.arrays import Bools, Floats, Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeGrid:
    """Half cycles, h of them, among samples.

    Attributes:
        base: Shape (h + 1,): where half cycles begin, in scans from the first value.
        number: Shape (h,): number of each, counting on for ever.
        whole: Shape (h,): False where a hole lies between two places, and no half cycle.
        untold: Shape (h,): True where the grid's own phase hangs on samples that may lie on edges.
    """

    base: Floats
    number: NDArray[np.int64]
    whole: Bools
    untold: Bools

    @property
    def order(self) -> Ints:
        """Shape (h,): the place of each among those that are whole."""
        return np.cumsum(self.whole, dtype=np.intp) - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeSums:
    """What the edges change in the sums of each half cycle, h of them, for each row of samples.

    Attributes:
        squares: Shape (rows, h): to be added to the trapezoid sum of squares, counts squared times scans.
        products: Shape (districts, h): to be added to that of volts times amps.
        doubt: Shape (rows, h): what the squares may still be off, the edge lying anywhere between its bounds.
        conduction: Shape (rows, h): from edge to edge as share of the half cycle, a natural zero standing in for a missing edge.
        steep: Shape (rows, h): whether there is a true edge, not only a natural zero.
        missed: Shape (rows, h): whether none was found where the row had some and nothing tells the phase: all of its square is in doubt.
    """

    squares: Floats
    products: Floats
    doubt: Floats
    conduction: Floats
    steep: Bools
    missed: Bools

    @classmethod
    def none(cls, shape: tuple[int, int, int], districts: int) -> "EdgeSums":
        """Where there is no edge."""
        return cls(
            squares=np.zeros(shape[1:]),
            products=np.zeros((districts, shape[2])),
            doubt=np.zeros(shape[1:]),
            conduction=np.full(shape[1:], np.nan),
            steep=np.zeros(shape[1:], dtype=bool),
            missed=np.zeros(shape[1:], dtype=bool),
        )


class CutEdges:
    """Finds and remembers the edges of all rows of one board.

    Args:
        later: Shape (rows,): how much later than its nominal place each row was sampled, in scans; volts first, then as many amps.
        interval_s: Seconds between scans.
        tau_s: Time constant of the filter before each channel.
    """

    def __init__(self, later: Floats, interval_s: float, tau_s: float) -> None:
        self._later = later
        self._response = EdgeResponse.of(tau_s / interval_s, interval_s)
        self._wait = min(th.MOST_WAITING, max(1, round(np.ceil((0.75 * th.WIDEST_S + 4 * tau_s) / interval_s))))
        self.forget()

    def forget(self) -> None:
        """A long hole: what was known before it says nothing."""
        rows = len(self._later)
        self._places = EdgePlaces(rows)
        self._widths = Fading((2, rows), th.WIDTH_HALVES, th.WIDTH_PRIOR_CELLS)
        self._peaks = Fading((2, rows), th.SIZE_HALVES)
        self._cell = np.full((2, rows), np.nan)
        self._without = np.full(rows, th.EDGELESS_HALVES + 1)

    def feed(self, values: Floats, sizes: NDArray[np.int16], together: Floats, grid: EdgeGrid) -> EdgeSums:
        """Edges of some half cycles.

        Args:
            values: Shape (rows, n): counts less zero.
            sizes: Shape (rows, n): their absolute values, rounded.
            together: Shape (districts, n): volts times amps at the moments of the volts.
            grid: The half cycles.
        """
        found = self._found(values, sizes, together, grid)
        count = grid.order + 1
        without = count - np.maximum.accumulate(np.where(found.steep & grid.whole, count, -self._without[:, None]), axis=1)
        self._without = np.minimum(without[:, -1], th.EDGELESS_HALVES + 1)
        return replace(found, missed=grid.untold & ~found.steep & (without <= th.EDGELESS_HALVES))

    def _found(self, values: Floats, sizes: NDArray[np.int16], together: Floats, grid: EdgeGrid) -> EdgeSums:
        shape = (2, len(values), len(grid.number))
        edges = Edges.of(values, self._dead(sizes, grid), self._wait, grid.base, self._later)
        # Amps step where the volts do; what else they do at once is a load's own harmonics.
        stepped = np.zeros(shape, dtype=bool)
        stepped[edges.at] = True
        edges = edges.where(stepped[edges.side, edges.row % len(together), edges.half])
        if not len(edges):
            self._peaks.pass_by(int(grid.whole.sum()))
            self._widths.pass_by(int(grid.whole.sum()))
            return EdgeSums.none(shape, len(together))
        peaks = self._held_peaks(edges, grid)
        fractions, doubts = edges.fractions(peaks)
        seen = self._seen(edges, fractions, grid)
        true = seen <= th.TOO_WIDE * self._response.seen[-1]
        if not true.all():
            edges, peaks, fractions, doubts = edges.where(true), peaks[true], fractions[:, true], doubts[:, true]
        level = self._response.level(seen[true])
        low, high = self._bounds(edges, fractions, doubts, level)
        low, high = self._narrowed(edges, low, high, grid)
        edges.lay_deep(self._response.after[level], (low + high) / 2, peaks)
        edges.come_closer(self._response.after[level, -1], (low + high) / 2, fractions)
        return self._summed(edges, together, (low, high, self._response.square_lag[level]), grid)

    def _dead(self, sizes: NDArray[np.int16], grid: EdgeGrid) -> Ints:
        """The dead sample beside each edge that there may be, shape (2, rows, h); -1 where there is none.

        A rise is a sample near zero and then, soon, one sixteen times as large. The one before both is at most a quarter of what comes
        next: beside a natural zero both neighbours are of much the same size. A fall is the mirror of it.
        """
        loud = np.maximum(sizes[:, 1:], sizes[:, :-1])
        halves, reach = len(grid.number), self._wait + 4
        dead = np.full((2, len(sizes), halves), -1, dtype=np.intp)
        width = sizes.shape[1] - 4
        before, middle, after = sizes[:, 1:-3], sizes[:, 2:-2], sizes[:, 3:-1]
        for side, beside in enumerate(((loud[:, 3:], after, before), (loud[:, :-3], before, after))):
            flat = np.flatnonzero((middle <= (beside[0] >> 4) + 1) & (beside[0] >= th.EDGE_LEAST_COUNTS))[:: 1 - 2 * side]
            rows, columns = flat // width, flat % width
            far, near, other = (each[rows, columns] for each in beside)
            steep = other <= (np.where(2 * near > far, far, near) >> 2) + 1
            rows, columns = rows[steep], columns[steep] + 2
            half = np.searchsorted(grid.base, columns + self._later[rows] + (0.5 - side), side="right") - 1
            inside = (half >= 0) & (half < halves) & (columns >= reach) & (columns + reach < sizes.shape[1])
            inside[inside] = grid.whole[half[inside]]
            dead[side, rows[inside], half[inside]] = columns[inside]
        return dead

    def _held_peaks(self, edges: Edges, grid: EdgeGrid) -> Floats:
        """Peak of the sine behind each edge, held from half cycles that show it well."""
        peaks, sure = edges.peaks()
        dense, weights = np.zeros((2, 2, len(self._later), int(grid.whole.sum())))
        at = edges.side, edges.row, grid.order[edges.half]
        dense[at], weights[at] = peaks, sure
        held = self._peaks.feed(dense, weights)[at]
        return np.where(np.isfinite(held), held, peaks)

    def _seen(self, edges: Edges, fractions: Floats, grid: EdgeGrid) -> Floats:
        """Mean of f (1 - f) that the samples around each edge showed over time, which tells its width."""
        at = edges.side, edges.row, grid.order[edges.half]
        partly = np.zeros((2, len(self._later), int(grid.whole.sum())))
        cell = np.full(partly.shape, np.nan)
        cell[at] = edges.settled - grid.base[edges.half]
        caught = (fractions > th.PARTLY[0]) & (fractions < th.PARTLY[1])
        partly[at] = np.where(caught, fractions * (1 - fractions), 0.0).sum(axis=0)
        steps, self._cell = crept(cell, self._cell)
        return self._widths.feed(partly, steps, float(self._response.seen[th.USUAL_WIDTH]))[at]

    def _bounds(self, edges: Edges, fractions: Floats, doubts: Floats, level: Ints) -> tuple[Floats, Floats]:
        """Least and highest place of each edge that its own half cycle allows, in scans from the first value."""
        reached = np.where(edges.side == 0, fractions, 1 - fractions)
        most, least = reached + doubts, reached - doubts
        samples = edges.samples()
        bounds_low, bounds_high = most < 1 - th.UNTOLD, least > th.UNTOLD
        lows = samples - self._response.reached_after(level, np.where(bounds_low, most, 0.0))
        highs = samples - self._response.reached_after(level, np.where(bounds_high, least, 0.0))
        ends = samples[0], samples[-1]
        low = np.maximum(np.where(bounds_low, lows, -np.inf).max(axis=0), np.minimum(*ends))
        high = np.minimum(np.where(bounds_high, highs, np.inf).min(axis=0), np.maximum(*ends))
        crossed = low > high
        return np.where(crossed, (low + high) / 2, low), np.where(crossed, (low + high) / 2, high)

    def _narrowed(self, edges: Edges, low: Floats, high: Floats, grid: EdgeGrid) -> tuple[Floats, Floats]:
        """The same after all that was known before."""
        lead = grid.base[edges.half] - self._later[edges.row]
        dense = np.full((3, 2, len(self._later), len(grid.number)), np.nan)
        for each, place in zip(dense, (low, high, edges.settled), strict=True):
            each[edges.at] = (place - lead) / edges.span
        low, high = self._places.feed(dense, 1 / np.diff(grid.base), grid.number)
        return low[edges.at] * edges.span + lead, high[edges.at] * edges.span + lead

    def _summed(self, edges: Edges, together: Floats, known: tuple[Floats, Floats, Floats], grid: EdgeGrid) -> EdgeSums:
        """Exact integrals over the cells around each edge in place of the trapezoid's.

        The live side is a piece of a sine of mains frequency, from the edge to the settled sample, or in a deep cut to the natural
        zero. Where the trapezoid sum of the live side ends, a twelfth of the slope of the square is missing (Euler-Maclaurin).
        """
        low, high, lag = known
        place, rows, halves = (low + high) / 2, len(self._later), len(grid.number)
        begin = np.clip((place - edges.settled) * edges.ahead + lag, -(self._wait + 1.0), 3.0)
        until_zero = np.where(edges.side == 0, np.pi - edges.angle, edges.angle) / edges.step
        end = np.where(edges.lone, np.maximum(until_zero, begin), 0.0)
        first, slope = _turned(edges.first, edges.slope, edges.step * end)
        half = 0.5 * edges.step * (begin - end)
        turn = np.cos(half), np.sin(half)
        arc = _arc(first, slope, turn)
        squares = _simpson(arc, arc) * (end - begin) - trapezoid(edges.seen**2, edges.lone)
        squares += np.where(edges.lone, 0.0, edges.first * edges.slope * edges.step / 6)
        # Where nothing tells the phase, as much again may lie behind the one or two samples, or next to nothing.
        doubt = np.where(grid.untold[edges.half], _simpson(arc, arc) * np.abs(end - begin), arc[0] ** 2 * (high - low) / 2)
        both = np.zeros((2, 2, rows, halves))
        both[(0, *edges.at)], both[(1, *edges.at)] = squares, doubt
        shares = np.stack([np.zeros((rows, halves)), np.ones((rows, halves))])
        shares[edges.at] = (place + self._later[edges.row] - grid.base[edges.half]) / edges.span
        steep = np.zeros((rows, halves), dtype=bool)
        steep[edges.row, edges.half] = True
        return EdgeSums(
            squares=both[0].sum(axis=0),
            doubt=both[1].sum(axis=0),
            products=self._products(edges, together, (end, turn, arc), halves),
            conduction=np.where(steep, (shares[1] - shares[0]) % 1.0, np.nan),
            steep=steep,
            missed=np.zeros_like(steep),
        )

    def _products(
        self, edges: Edges, together: Floats, live: tuple[Floats, tuple[Floats, Floats], list[Floats]], halves: int
    ) -> Floats:
        """The same of volts times amps, where both have an edge."""
        districts = len(together)
        index = np.full((2, len(self._later), halves), -1, dtype=np.intp)
        index[edges.at] = np.arange(len(edges))
        volts, amps = index[:, :districts].ravel(), index[:, districts:].ravel()
        both = np.flatnonzero((volts >= 0) & (amps >= 0))
        volts, amps = volts[both], amps[both]
        end, turn, arc = live[0][volts], [each[volts] for each in live[1]], [each[volts] for each in live[2]]
        step, ahead, row = edges.step[volts], edges.ahead[volts], edges.row[volts]
        moment = edges.settled + self._later[edges.row]
        first, slope = edges.first[amps], edges.slope[amps]
        of_amps = _arc(*_turned(first, slope, step * ((moment[volts] - moment[amps]) * ahead + end)), (turn[0], turn[1]))
        length = -2 * np.arctan2(turn[1], turn[0]) / step
        seen = together[row, edges.settled[volts] + ahead * np.arange(-self._wait - 1, 3)[:, None]]
        lone = edges.lone[volts]
        slopes = edges.first[volts] * slope + edges.slope[volts] * first
        products = np.zeros(2 * districts * halves)
        products[both] = _simpson(arc, of_amps) * length - trapezoid(seen, lone)
        products[both] += np.where(lone, 0.0, slopes * step / 12)
        return np.asarray(products.reshape(2, districts, halves).sum(axis=0))


def _turned(first: Floats, slope: Floats, angle: Floats) -> tuple[Floats, Floats]:
    """A sine and its slope, some angle further on."""
    cos, sin = np.cos(angle), np.sin(angle)
    return first * cos + slope * sin, slope * cos - first * sin


def _arc(first: Floats, slope: Floats, turn: tuple[Floats, Floats]) -> list[Floats]:
    """A sine at the beginning, in the middle and at the end of an arc, from the end and cosine and sine of half the way back."""
    cos, sin = turn
    return [first * (2 * cos * cos - 1) + slope * 2 * sin * cos, first * cos + slope * sin, first]


def _simpson(one: list[Floats], other: list[Floats]) -> Floats:
    """Mean of a product over an interval of which it is known at both ends and in the middle."""
    return np.asarray((one[0] * other[0] + 4 * one[1] * other[1] + one[2] * other[2]) / 6)
