"""Samples to sums over half cycles, on the board's grid and with each channel's own moment of conversion."""

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from monitor.metering import thresholds as th
from monitor.metering.channels import ChannelTable
from monitor.metering.cut_edges import CutEdges, EdgeGrid
from monitor.metering.grid import CycleGrid, GridNodes
from monitor.metering.half_cycles import HalfCycles, Shift, window_sums
from monitor.metering.mains_view import MainsTracker, MainsView
from monitor.values.arrays import Floats, Ints


class CycleSums:
    """Sums of one board under one identity; results do not depend on how scans are cut into blocks."""

    def __init__(self, table: ChannelTable, hertz: float) -> None:
        self._table = table
        has_far = table.far >= 0
        self._rows = np.concatenate([table.volts, table.amps, table.far[has_far]])
        self._districts = len(table.volts)
        self._zero = table.zero[self._rows][:, None]
        self._gain = table.gain_of(self._rows)
        self._later = table.skew_scans[self._rows]
        self._whole_zero = np.round(self._zero).astype(np.int16)
        d = self._districts
        self._unit = self._gain[: 2 * d, None]
        self._scale = np.concatenate([self._gain[: 2 * d], self._gain**2, self._gain[:d] * self._gain[d : 2 * d]])[:, None]
        self._row_later = np.concatenate([self._later[: 2 * d], self._later, self._later[:d]])
        self._measured = np.flatnonzero(np.concatenate([np.ones(4 * d, dtype=bool), has_far, np.ones(d, dtype=bool)]))
        self._shift = Shift(self._later[:d] - self._later[d : 2 * d])
        interval_s = table.interval_s
        self._edges = CutEdges(self._later[: 2 * d], interval_s, table.tau_s)
        self._watch = MainsTracker(hertz, interval_s, self._later[:d] * interval_s, self._gain[:d])
        self._grid = CycleGrid(hertz)
        self._end_s = -np.inf
        self.begin(0.0)

    def begin(self, start_s: float) -> None:
        """Scans begin, or begin anew after a hole."""
        long_hole = start_s - self._end_s > th.LONG_HOLE_S
        if long_hole:
            self._grid.forget()
            self._edges.forget()
        self._watch.begin(start_s, ripen=long_hole)
        self._start_s = start_s
        self._first = 0
        self._counts = np.zeros((len(self._rows), 0), dtype=np.int16)
        self._edge: tuple[int, float] | None = None

    def feed(self, counts: NDArray[np.int16]) -> tuple[HalfCycles | None, list[MainsView]]:
        """Half cycles that became complete, and the frames that told of them."""
        self._counts = np.concatenate([self._counts, counts.T[self._rows]], axis=1)
        values = self._counts - self._zero
        start = self._watch.next_scan - self._first
        view = self._watch.feed(values[: self._districts, start:])
        self._end_s = self._start_s + (self._first + self._counts.shape[1]) * self._table.interval_s
        if view is None:
            return None, []
        return self._sums(values, self._grid.advance(view, self._start_s)), [view]

    def close(self) -> tuple[HalfCycles | None, list[MainsView]]:
        """Scans end here: what is left of whole half cycles."""
        if self._counts.shape[1] <= 2 * th.MARGIN_SCANS:
            return None, []
        view = self._watch.close()
        sums = self._sums(self._counts - self._zero, self._to_the_end(view))
        self._counts = self._counts[:, :0]
        return sums, [] if view is None else [view]

    def whole(self, runs: Sequence[tuple[float, NDArray[np.int16]]]) -> list[tuple[HalfCycles | None, list[MainsView]]]:
        """Half cycles of runs that begin and end here; most of what a run costs is spent once for all between two long holes.

        Args:
            runs: Of each the board time of its first scan, and its counts, shape (scans, channels).
        """
        ends_s = np.array([start_s + len(counts) * self._table.interval_s for start_s, counts in runs])
        starts_s = np.array([start_s for start_s, _ in runs])
        places = [0, *(np.flatnonzero(starts_s[1:] - ends_s[:-1] > th.LONG_HOLE_S) + 1).tolist(), len(runs)]
        return [self._at_once(runs[start:stop]) for start, stop in itertools.pairwise(places)]

    def _at_once(self, runs: Sequence[tuple[float, NDArray[np.int16]]]) -> tuple[HalfCycles | None, list[MainsView]]:
        """The same of runs with short holes between them."""
        counts = np.concatenate([run for _, run in runs]).T[self._rows]
        values = counts - self._zero
        stops = np.cumsum([len(run) for _, run in runs]).tolist()
        spans = [(start_s, stop - len(run), stop) for (start_s, run), stop in zip(runs, stops, strict=True)]
        first_view = self._first_view(values[: self._districts, : stops[0]], spans[0][0])
        views = [first_view, *self._watch.feed_runs(values[: self._districts], spans[1:])]
        pieces = _Pieces()
        for (start_s, first, stop), view in zip(spans, views, strict=True):
            self._start_s, self._edge = start_s, None
            self._end_s = start_s + (stop - first) * self._table.interval_s
            if stop - first > 2 * th.MARGIN_SCANS:
                nodes = self._to_the_end(view)
                number, edges_s = self._new_edges(nodes)
                pieces.add(number, edges_s, (edges_s - start_s) / self._table.interval_s + first, nodes)
        self._counts = counts[:, :0]
        halves = self._half_cycles(values, counts, pieces) if pieces else None
        return halves, [view for view in views if view is not None]

    def _first_view(self, values: Floats, start_s: float) -> MainsView | None:
        """The frames of a run that may begin after a long hole, volts only."""
        self.begin(start_s)
        view = self._watch.feed(values)
        view = self._watch.close() if view is None and values.shape[1] > 2 * th.MARGIN_SCANS else view
        self._watch.begin(start_s, ripen=False)
        return view

    def _to_the_end(self, view: MainsView | None) -> GridNodes:
        """The grid from the last frames given before, over those of the view, to the end of the scans."""
        nodes = self._grid.run_on(self._start_s) if view is None else self._grid.advance(view, self._start_s)
        return nodes.joined(self._grid.run_on(self._end_s - th.NODE_BACK_SCANS * self._table.interval_s))

    def _sums(self, values: Floats, nodes: GridNodes) -> HalfCycles | None:
        number, edges_s = self._new_edges(nodes)
        if len(edges_s):
            self._edge = (number + len(edges_s) - 1, float(edges_s[-1]))
        base = (edges_s - self._start_s) / self._table.interval_s - self._first
        pieces = _Pieces()
        pieces.add(number, edges_s, base, nodes)
        if not pieces:
            return None
        halves = self._half_cycles(values, self._counts, pieces)
        needed = min(int(base[-1]) + self._first - th.MARGIN_SCANS, self._watch.next_scan)
        self._counts = self._counts[:, max(0, needed - self._first) :]
        self._first = max(self._first, needed)
        return halves

    def _new_edges(self, nodes: GridNodes) -> tuple[int, Floats]:
        """The edges since the last half cycle, that one's end first."""
        number, edges_s = nodes.edges()
        earliest_s = self._start_s + th.MARGIN_SCANS * self._table.interval_s
        if self._edge is not None:
            skip = max(0, self._edge[0] + 1 - number)
            return self._edge[0], np.concatenate([[self._edge[1]], edges_s[skip:]])
        skip = int(np.searchsorted(edges_s, earliest_s))
        return number + skip, edges_s[skip:]

    def _half_cycles(self, values: Floats, counts: NDArray[np.int16], pieces: "_Pieces") -> HalfCycles:
        d = self._districts
        grid, edges_s, hertz = pieces.joined()
        base = grid.base
        rows = np.empty((len(self._row_later), values.shape[1]))
        rows[: 2 * d] = values[: 2 * d]
        np.multiply(values, values, out=rows[2 * d : -d])
        together = np.multiply(self._shift.applied(values[d : 2 * d]), values[:d], out=rows[-d:])
        lengths = np.diff(base)
        sums = window_sums(rows, base, self._row_later)
        sizes = np.abs(counts[: 2 * d] - self._whole_zero[: 2 * d])
        edges = self._edges.feed(values[: 2 * d], sizes, together, grid)
        sums[2 * d : 4 * d] += edges.squares
        sums[-d:] += edges.products
        flat = np.full((6 * d, len(lengths)), np.nan)
        flat[self._measured] = sums / lengths * self._scale
        means = flat.reshape(6, d, -1).transpose(0, 2, 1)
        means[2:5] = np.maximum(means[2:5], 0.0)
        peaks, clipped = self._extremes(counts[: 2 * d], base.astype(np.intp))
        doubt = (edges.doubt / lengths * self._unit**2).reshape(2, d, -1).transpose(0, 2, 1)
        halves = HalfCycles(
            number=grid.number,
            start_s=edges_s[:-1],
            end_s=edges_s[1:],
            hertz=hertz,
            means=means,
            peaks=peaks,
            clipped=clipped,
            conduction=edges.conduction[:d].T,
            steep=edges.steep[:d].T.astype(np.float64),
            edge_doubt=np.where(edges.missed.reshape(2, d, -1).transpose(0, 2, 1), means[2:4], doubt),
        )
        return halves if grid.whole.all() else halves.where(grid.whole)

    def _extremes(self, counts: NDArray[np.int16], index: Ints) -> tuple[Floats, Floats]:
        """Highest and lowest values, and the samples at the end of the range, as HalfCycles has them."""
        d = self._districts
        high = np.maximum.reduceat(counts, index, axis=1)[:, :-1]
        low = np.minimum.reduceat(counts, index, axis=1)[:, :-1]
        clipped = np.zeros(high.shape)
        bottom, top = self._table.rails
        if (high >= top).any() or (low <= bottom).any():
            clipped = np.add.reduceat((counts >= top) | (counts <= bottom), index, axis=1, dtype=np.float64)[:, :-1]
        one, other = (high - self._zero[: 2 * d]) * self._unit, (low - self._zero[: 2 * d]) * self._unit
        peaks = np.concatenate([np.maximum(one, other), np.minimum(one, other)])
        return peaks.reshape(4, d, -1).transpose(0, 2, 1), clipped.reshape(2, d, -1).transpose(0, 2, 1)


class _Pieces:
    """Edges of half cycles in order of time, with holes between pieces; falsy while there is no half cycle."""

    def __init__(self) -> None:
        self._pieces: list[tuple[Floats, Floats, Floats, Floats, NDArray[np.int64]]] = []

    def __bool__(self) -> bool:
        return bool(self._pieces)

    def add(self, number: int, edges_s: Floats, base: Floats, nodes: GridNodes) -> None:
        """Edges without a hole, the number of the half cycle after the first, and where they lie in scans."""
        if len(edges_s) > 1:
            hertz, untold = (np.interp(edges_s[1:], nodes.times_s, each) for each in (nodes.hertz, nodes.untold))
            numbers = np.arange(number, number + len(base))
            self._pieces.append((edges_s, base, np.append(hertz, np.nan), np.append(untold, 0.0), numbers))

    def joined(self) -> tuple[EdgeGrid, Floats, Floats]:
        """Half cycles among the scans; their edges, board seconds; the frequency at the end of each. Worth nothing in holes."""
        edges_s, base, hertz, untold, numbers = (np.concatenate(each) for each in zip(*self._pieces, strict=True))
        whole = np.ones(len(base) - 1, dtype=bool)
        whole[np.cumsum([len(piece[0]) for piece in self._pieces[:-1]], dtype=np.intp) - 1] = False
        return EdgeGrid(base=base, number=numbers[:-1], whole=whole, untold=untold[:-1] > 0), edges_s, hertz[:-1]
