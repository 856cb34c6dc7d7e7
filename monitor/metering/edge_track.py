"""What is remembered of the edges of one board from half cycle to half cycle: places, widths, sizes.

An edge returns at the same phase in every cycle while the samples creep along it, so each half cycle bounds its place anew: by the
last sample that saw nothing of it, by the first that saw all of it, and within microseconds by one that caught it on the way. Bounds
that agree are intersected, and where a new one denies what is held, that is moved no further than the bound asks. Half cycles that go
up and those that go down are held apart, for triacs do not fire alike in both.
"""

import numpy as np
from numpy.typing import NDArray

from monitor.metering import thresholds as th
from monitor.values.arrays import Bools, Floats


class EdgePlaces:
    """Bounds of the place of each edge, by side (rise and fall) and row; a place is a share of the half cycle."""

    def __init__(self, rows: int) -> None:
        self._open = np.zeros((2, 2, 2, rows))
        self._cell = np.full((2, 2, rows), np.nan)

    def feed(self, shown: Floats, cell: Floats, number: NDArray[np.int64]) -> Floats:
        """Least and highest place in each half cycle, shape (2, 2, rows, h); worth nothing where none is shown.

        Args:
            shown: Shape (3, 2, rows, h): least and highest place that the half cycle itself allows, and where the samples around the edge
                lie; NaN where there is no edge.
            cell: Shape (h,): from one sample to the next, as a share of the half cycle.
            number: Shape (h,): number of each half cycle.
        """
        ends = np.zeros((2, *shown.shape[1:]))
        for parity in range(2):
            some = np.flatnonzero(number % 2 == parity)
            if len(some):
                ends[..., some] = self._narrowed(shown[..., some], cell[some], parity)
        return ends

    def _narrowed(self, places: Floats, cell: Floats, parity: int) -> Floats:
        ends = np.zeros((2, *places.shape[1:]))
        side, row = np.nonzero(np.isfinite(places[0]).any(axis=2))
        if not len(row):
            return ends
        low, high, begins = places[:, side, row]
        shown = np.isfinite(low)
        latest = _latest(self._cell[parity, side, row], begins, shown)
        with np.errstate(invalid="ignore"):
            leapt = shown & ~(np.abs(begins - latest[:, :-1]) <= th.MOVED_CELLS * cell)
        least, most = np.where(shown, low, -np.inf), np.where(shown, high, np.inf)
        lowest, highest = np.where(leapt, high, least), np.where(leapt, low, most)
        found = _carried(self._open[parity][:, side, row], np.stack([least, lowest]), np.stack([highest, most]))
        self._open[parity][:, side, row], self._cell[parity, side, row] = found[:, :, -1], latest[:, -1]
        ends[:, side, row] = found
        return ends


class Fading:
    """Weighted means that fade, of arrays whose last axis is time."""

    def __init__(self, shape: tuple[int, ...], length: float, prior: float = 0.0) -> None:
        self._keep = float(np.exp(-1 / length))
        steps = np.arange(th.STRETCH_HALVES)
        self._since = self._keep ** (steps + 1)
        self._within = np.triu(self._keep ** np.maximum(steps - steps[:, None], 0))
        self._sums = np.zeros((2, *shape))
        self._prior = prior

    def pass_by(self, steps: int) -> None:
        """So many steps without anything that counts."""
        self._sums *= self._keep**steps

    def feed(self, values: Floats, weights: Floats, usual: float = 0.0) -> Floats:
        """Mean up to and with each step; NaN where nothing counted yet."""
        size = values.shape[-1]
        stretches = -(-size // th.STRETCH_HALVES)
        both = np.zeros((2, *values.shape[:-1], stretches * th.STRETCH_HALVES))
        both[0, ..., :size], both[1, ..., :size] = values * weights, weights
        parts = both.reshape(*both.shape[:-1], stretches, th.STRETCH_HALVES) @ self._within
        begins = np.empty(parts.shape[:-1])
        for k in range(stretches):
            begins[..., k] = self._sums
            self._sums = parts[..., k, -1] + self._sums * self._since[-1]
        sums = (parts + begins[..., None] * self._since).reshape(both.shape)[..., :size]
        self._sums = sums[..., -1]
        weight = sums[1] + self._prior
        return np.where(weight > 1e-9, (sums[0] + self._prior * usual) / np.maximum(weight, 1e-9), np.nan)


def crept(cell: Floats, before: Floats) -> tuple[Floats, Floats]:
    """How far samples moved over the edge from each half cycle to the next, in cells, and the last place of all.

    Args:
        cell: Shape (..., h): where the samples around the edge begin, in scans; NaN where there is no edge.
        before: Shape (...): the same of the half cycle before.
    """
    shown = np.isfinite(cell)
    flat = cell.reshape(-1, cell.shape[-1])
    latest = _latest(before.ravel(), flat, shown.reshape(flat.shape)).reshape(*cell.shape[:-1], -1)
    step = np.abs(cell - latest[..., :-1])
    step = np.where(np.isfinite(step), np.abs(step - np.round(step)), 0.0)
    return step, latest[..., -1]


def _latest(before: Floats, figures: Floats, shown: Bools) -> Floats:
    """The latest figure shown until then, for each of n columns and the one after, shape (r, n + 1)."""
    column = np.maximum.accumulate(np.where(shown, np.arange(1, shown.shape[1] + 1), 0), axis=1)
    both = np.concatenate([before[:, None], figures], axis=1)
    return np.take_along_axis(both, np.concatenate([np.zeros((len(both), 1), dtype=np.intp), column], axis=1), axis=1)


def _carried(start: Floats, least: Floats, most: Floats) -> Floats:
    """Numbers moved into one interval after another by the shortest way, along the last axis.

    Two intervals one after the other move a number as one interval does, so that all of a stretch are found by doubling.
    """
    ends = np.stack([least, most])
    width = 1
    while width < least.shape[-1]:
        low, high = ends[:, ..., width:]
        ends = np.concatenate([ends[..., :width], np.minimum(np.maximum(ends[..., :-width], low), high)], axis=-1)
        width *= 2
    return np.asarray(np.minimum(np.maximum(start[..., None], ends[0]), ends[1]))
