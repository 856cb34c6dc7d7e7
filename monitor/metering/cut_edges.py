"""The steep edges of phase-cut waveforms, found between samples.

At 20 samples a cycle a triac's edge lies anywhere within a twentieth of the cycle, and a plain sum of squares is wrong by up to
10 % of the RMS (90 degrees). But the edge returns at the same phase in every half cycle while the samples creep along it, so each
half cycle brackets it anew; the brackets of up to half a second, cut with each other, tell where it is. With that the cell that
holds the edge is integrated as what it is: nothing on one side, a piece of the mains sine on the other.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

REMEMBERED_HALVES = 64
"""Brackets of so many half cycles may be cut with each other: half a second, within which a throttle at rest stands still."""
JITTER = 0.004
"""Brackets that miss each other by less than this (in half cycles) still belong together."""
STEEPEST = 1.6
"""Beside a true edge the waveform changes by no more than this factor from sample to sample; natural zeros change by more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeSums:
    """What the edges change in the sums of each half cycle, h of them, for each row of samples.

    Attributes:
        squares: Shape (rows, h): to be added to the trapezoid sum of squares, counts squared times scans.
        shares: Shape (2, rows, h): rise and fall: how far into its cell the edge lies, 0-1; NaN where there is none.
        cells: Shape (2, rows, h): sample before the edge; -1 where there is none.
        conduction: Shape (rows, h): from edge to edge as share of the half cycle, a natural zero standing in for a missing edge.
        steep: Shape (rows, h): whether there is a true edge, not only a natural zero.
    """

    squares: Floats
    shares: Floats
    cells: Ints
    conduction: Floats
    steep: NDArray[np.bool_]


class CutEdges:
    """Finds and remembers the edges of all rows of one board.

    Args:
        later: Shape (rows,): how much later than its nominal place each row was sampled, in scans.
        step_rad: Mains phase from one scan to the next.
    """

    def __init__(self, later: Floats, step_rad: float) -> None:
        self._later = later
        self._step_rad = step_rad
        self.forget()

    def forget(self) -> None:
        """A hole: brackets before it say nothing."""
        self._low = np.full((2, len(self._later), REMEMBERED_HALVES - 1), np.nan)
        self._high = self._low.copy()

    def feed(self, values: Floats, sizes: NDArray[np.int16], base: Floats) -> EdgeSums:
        """Edges of the half cycles between the places given.

        Args:
            values: Shape (rows, n): counts less zero.
            sizes: Shape (rows, n): their absolute values, rounded.
            base: Shape (h + 1,): where half cycles begin, in scans from the first value.
        """
        cells = self._cells(sizes, base)
        low, high = self._brackets(cells, base)
        phases = self._cut(low, high)
        with np.errstate(invalid="ignore"):
            shares = np.clip((phases - low) / (high - low), 0.0, 1.0)
        squares = np.zeros(cells.shape[1:])
        true = np.zeros(cells.shape, dtype=bool)
        for side in range(2):
            rows, halves = np.nonzero(cells[side] >= 0)
            if len(rows):
                at = cells[side, rows, halves] + (1 - side)
                angles = np.pi * (at + self._later[rows] - base[halves]) / (base[halves + 1] - base[halves])
                change, true[side, rows, halves] = self._change((values, rows, at), shares[side, rows, halves], angles, side)
                squares[rows, halves] += change
        steep = true[0] | true[1]
        open_share = (np.where(true[1], phases[1], 1.0) - np.where(true[0], phases[0], 0.0)) % 1.0
        conduction = np.where(steep, open_share, np.nan)
        return EdgeSums(squares=squares, shares=shares, cells=cells, conduction=conduction, steep=steep)

    def _cells(self, sizes: NDArray[np.int16], base: Floats) -> Ints:
        """The sample before each edge; a rise is two samples near zero and then one eight times as large, a fall its mirror."""
        quiet = np.maximum(sizes[:, :-1], sizes[:, 1:])
        loud = sizes >> 3
        halves = len(base) - 1
        cells = np.full((2, len(sizes), halves), -1, dtype=np.intp)
        width = sizes.shape[1] - 2
        for side, found in enumerate((quiet[:, :-1] < loud[:, 2:], quiet[:, 1:] < loud[:, :-2])):
            flat = np.flatnonzero(found)
            rows, columns = flat // width, flat % width + (1 - side)
            half = np.searchsorted(base, columns + self._later[rows] + 0.5, side="right") - 1
            inside = (half >= 0) & (half < halves) & (columns >= 2) & (columns + 3 < sizes.shape[1])
            cells[side, rows[inside], half[inside]] = columns[inside]
        return cells

    def _brackets(self, cells: Ints, base: Floats) -> tuple[Floats, Floats]:
        lengths = np.diff(base)
        low = np.where(cells >= 0, (cells + self._later[:, None] - base[:-1]) / lengths, np.nan)
        return low, low + 1 / lengths

    def _cut(self, low: Floats, high: Floats) -> Floats:
        """Middle of what the brackets of the longest agreeing stretch of half cycles have in common."""
        kept = REMEMBERED_HALVES - 1
        lows = np.concatenate([self._low, low], axis=2)
        highs = np.concatenate([self._high, high], axis=2)
        self._low, self._high = lows[:, :, -kept:], highs[:, :, -kept:]
        middle = (low + high) / 2
        if np.isnan(lows).all():
            return middle
        width = 1
        while width < REMEMBERED_HALVES:
            lows = np.fmax(lows[:, :, width:], lows[:, :, :-width])
            highs = np.fmin(highs[:, :, width:], highs[:, :, :-width])
            width *= 2
            count = middle.shape[2]
            agreed = lows[:, :, -count:] < highs[:, :, -count:] + JITTER
            middle = np.where(agreed, (lows[:, :, -count:] + highs[:, :, -count:]) / 2, middle)
        return np.where(np.isnan(low), np.nan, middle)

    def _change(
        self, live: tuple[Floats, Ints, Ints], shares: Floats, angles: Floats, side: int
    ) -> tuple[Floats, NDArray[np.bool_]]:
        """Exact integral of squares over the edge's cell less the trapezoid's, and whether it is a true edge.

        The live side is a piece of a sine of mains frequency, through its first two samples, or through its only one with the
        slope that the grid's phase says. Where the trapezoid sum of the live side ends, a twelfth of the slope of the square is
        missing (Euler-Maclaurin).

        Args:
            live: The values, and row and sample of the live sample next to each edge.
            shares: How far into its cell each edge lies.
            angles: Phase of that live sample on the grid, rad.
            side: 0 for rises, 1 for falls.
        """
        values, rows, at = live
        ahead = 1 if side == 0 else -1
        first, second, dead = values[rows, at], values[rows, at + ahead], values[rows, at - ahead]
        lone = np.abs(second) <= np.abs(first) / 8
        true = (np.abs(second) <= STEEPEST * np.abs(first)) & (np.abs(first) >= 8)
        slope = (second - first * np.cos(self._step_rad)) / np.sin(self._step_rad)
        slope[lone] = ahead * first[lone] / np.tan(np.clip(angles[lone], 0.05 * np.pi, 0.95 * np.pi))
        length = np.where(side == 0, 1 - shares, shares)
        half = 0.5 * self._step_rad * length
        cos, sin = np.cos(half), np.sin(half)
        sign = np.sign(first)
        middle = np.maximum(0.0, sign * (first * cos - slope * sin))
        end = np.maximum(0.0, sign * (first * (2 * cos * cos - 1) - slope * 2 * sin * cos))
        squares = (first**2 + 4 * middle**2 + end**2) / 6
        ending = np.where(lone, 0.0, first * slope * self._step_rad / 6)
        change = squares * length - (first**2 + dead**2) / 2 + ending
        return np.where(true, change, 0.0), true
