"""The steep edges of phase-cut waveforms, found between samples.

At 20 samples a cycle a triac's edge lies anywhere within a twentieth of the cycle, and a plain sum of squares is wrong by up to
10 % of the RMS (90 degrees). But the edge returns at the same phase in every half cycle while the samples creep along it, so each
half cycle brackets it anew. What is left open of its place is narrowed by every bracket, and where one denies it, moved no further
than the bracket asks: once a sample crept across the edge the place is known, for as long as the throttle rests and however slowly
the samples creep on. With that the cell that holds the edge is integrated as what it is: nothing on one side, a piece of the mains sine
on the other.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

MOVED_CELLS = 1.5
"""An edge that leaps by more than this from one half cycle to the next was moved: nothing is known of where in its cell it is."""
STRETCH_HALVES = 64
"""So many half cycles are worked on at once: any number does, this one is quick."""
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
        """A long hole: what was known before it says nothing."""
        self._open = np.zeros((2, 2, len(self._later)))
        self._low = np.full((2, len(self._later)), np.nan)

    def feed(self, values: Floats, sizes: NDArray[np.int16], base: Floats, whole: NDArray[np.bool_]) -> EdgeSums:
        """Edges of the half cycles between the places given.

        Args:
            values: Shape (rows, n): counts less zero.
            sizes: Shape (rows, n): their absolute values, rounded.
            base: Shape (h + 1,): where half cycles begin, in scans from the first value.
            whole: Shape (h,): False where a hole lies between two places, and no half cycle.
        """
        cells = self._cells(sizes, base, whole)
        low, high = self._brackets(cells, base)
        places = self._places(low, high)
        with np.errstate(invalid="ignore"):
            shares = np.clip((places - low) / (high - low), 0.0, 1.0)
        cells = self._true(values, cells)
        squares = np.zeros(cells.shape[1:])
        for side in range(2):
            rows, halves = np.nonzero(cells[side] >= 0)
            if len(rows):
                at = cells[side, rows, halves] + (1 - side)
                angles = np.pi * (at + self._later[rows] - base[halves]) / (base[halves + 1] - base[halves])
                squares[rows, halves] += self._change((values, rows, at), shares[side, rows, halves], angles, side)
        true = cells >= 0
        steep = true[0] | true[1]
        open_share = (np.where(true[1], places[1], 1.0) - np.where(true[0], places[0], 0.0)) % 1.0
        conduction = np.where(steep, open_share, np.nan)
        return EdgeSums(squares=squares, shares=shares, cells=cells, conduction=conduction, steep=steep)

    def _cells(self, sizes: NDArray[np.int16], base: Floats, whole: NDArray[np.bool_]) -> Ints:
        """The sample before each edge; a fall is the mirror of a rise.

        A rise is a sample near zero and then one eight times as large. The one before both is at most a quarter of that: beside a
        natural zero both neighbours are of much the same size.
        """
        loud, half_loud = sizes >> 3, sizes >> 2
        halves = len(base) - 1
        cells = np.full((2, len(sizes), halves), -1, dtype=np.intp)
        width = sizes.shape[1] - 2
        before, middle, after = sizes[:, :-2], sizes[:, 1:-1], sizes[:, 2:]
        rises = (middle < loud[:, 2:]) & (before < half_loud[:, 2:])
        falls = (middle < loud[:, :-2]) & (after < half_loud[:, :-2])
        for side, found in enumerate((rises, falls)):
            flat = np.flatnonzero(found)
            rows, columns = flat // width, flat % width + (1 - side)
            half = np.searchsorted(base, columns + self._later[rows] + 0.5, side="right") - 1
            inside = (half >= 0) & (half < halves) & (columns >= 2) & (columns + 3 < sizes.shape[1])
            inside[inside] = whole[half[inside]]
            cells[side, rows[inside], half[inside]] = columns[inside]
        return cells

    def _brackets(self, cells: Ints, base: Floats) -> tuple[Floats, Floats]:
        lengths = np.diff(base)
        low = np.where(cells >= 0, (cells + self._later[:, None] - base[:-1]) / lengths, np.nan)
        return low, low + 1 / lengths

    @staticmethod
    def _true(values: Floats, cells: Ints) -> Ints:
        """The cells of true edges only: the wave is about as large at the live sample next to one as at the next but one."""
        side, row, half = np.nonzero(cells >= 0)
        at = cells[side, row, half] + (1 - side)
        first, second = np.abs(values[row, at]), np.abs(values[row, at + 1 - 2 * side])
        true = (second <= STEEPEST * first) & (first >= 8)
        cells[side[~true], row[~true], half[~true]] = -1
        return cells

    def _places(self, low: Floats, high: Floats) -> Floats:
        """Where each edge is held to be: the middle of what is left open; NaN where a half cycle shows none."""
        places = np.full(low.shape, np.nan)
        shown = np.isfinite(low)
        side, row = np.nonzero(shown.any(axis=2))
        if not len(row):
            return places
        low, high, shown = low[side, row], high[side, row], shown[side, row]
        lows = _latest(self._low[side, row], low, shown)
        with np.errstate(invalid="ignore"):
            anew = shown & ~(np.abs(low - lows[:, :-1]) <= MOVED_CELLS * (high - low))
        least, most = np.where(shown, low, -np.inf), np.where(shown, high, np.inf)
        ends = _carried(
            self._open[:, side, row],
            np.stack([least, np.where(anew, high, least)]),
            np.stack([np.where(anew, low, most), most]),
        )
        self._open[:, side, row], self._low[side, row] = ends[:, :, -1], lows[:, -1]
        places[side, row] = np.where(shown, (ends[0] + ends[1]) / 2, np.nan)
        return places

    def _change(self, live: tuple[Floats, Ints, Ints], shares: Floats, angles: Floats, side: int) -> Floats:
        """Exact integral of squares over the edge's cell less the trapezoid's.

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
        return np.asarray(squares * length - (first**2 + dead**2) / 2 + ending)


def _latest(before: Floats, figures: Floats, shown: NDArray[np.bool_]) -> Floats:
    """The latest figure shown until then, for each of n columns and the one after, shape (r, n + 1)."""
    column = np.maximum.accumulate(np.where(shown, np.arange(1, shown.shape[1] + 1), 0), axis=1)
    both = np.concatenate([before[:, None], figures], axis=1)
    return np.take_along_axis(both, np.concatenate([np.zeros((len(both), 1), dtype=np.intp), column], axis=1), axis=1)


def _carried(start: Floats, least: Floats, most: Floats) -> Floats:
    """Numbers moved into one interval after another by the shortest way, along the last axis.

    Two intervals one after the other move a number as one interval does, so that all of a stretch are found by doubling.
    """
    out = np.empty_like(least)
    for first in range(0, least.shape[-1], STRETCH_HALVES):
        some = (..., slice(first, first + STRETCH_HALVES))
        low, high = least[some], most[some]
        width = 1
        while width < low.shape[-1]:
            joined = [np.minimum(np.maximum(each[..., :-width], low[..., width:]), high[..., width:]) for each in (low, high)]
            low, high = (np.concatenate([old[..., :width], new], axis=-1) for old, new in zip((low, high), joined, strict=True))
            width *= 2
        out[some] = np.minimum(np.maximum(start[..., None], low), high)
        start = out[some][..., -1]
    return out
