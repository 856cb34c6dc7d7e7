"""Single edges as samples show them: what lies before, on and behind each, and the sine that it was cut from."""

import functools
from dataclasses import dataclass, fields

import numpy as np

from monitor.metering import thresholds as th
from monitor.values.arrays import Bools, Floats, Ints


class EdgeResponse:
    """What a steep edge looks like to the converter: a ramp of some width behind the channel's one-pole low-pass, as tables.

    A ramp of width w behind a time constant tau answers, t after its beginning (textbook, by convolution of a box and an exponential)::

        G(t) = (t - tau (1 - exp(-t / tau))) / w                   while t < w
        G(t) = 1 - (tau / w) (exp(w / tau) - 1) exp(-t / tau)       from then on

    Times here count from tau after the middle of the ramp, in scans: the filter brings the mains sine later by tau, too, so this is
    where the edge stands against what the samples show of it.

    Attributes:
        after: Shape (widths, FRACTIONS + 1): time from the edge at which each fraction is reached, scans; clipped to 1 ... 99 %.
        seen: Shape (widths,): mean of f (1 - f) over places a scan apart, of the fractions on the way; rises with the width.
        square_lag: Shape (widths,): so much later than the edge's middle a step must lie to hold the same square, scans.
    """

    def __init__(self, tau_scans: float, interval_s: float) -> None:
        widths = np.concatenate([np.zeros(th.FILTER_QUARTERS), np.linspace(0.0, th.WIDEST_S / interval_s, th.STEPS + 1)])
        taus = tau_scans * np.concatenate([np.arange(th.FILTER_QUARTERS) / th.FILTER_QUARTERS, np.ones(th.STEPS + 1)])
        tables = [self._table(width, tau) for width, tau in zip(widths, taus, strict=True)]
        self.after: Floats = np.stack([after for after, _ in tables])
        self.seen: Floats = np.maximum.accumulate([seen for _, seen in tables]) + 1e-9 * np.arange(len(tables))
        # A ramp's square is a third of its height over the width, a step's in its middle a half.
        self.square_lag: Floats = widths / 6

    @staticmethod
    def _table(width: float, tau: float) -> tuple[Floats, float]:
        tau, width = max(tau, 1e-4), max(width, 1e-4)
        times = np.linspace(0.0, width + 6 * tau, 4000)
        rising = (times - tau * (1 - np.exp(-times / tau))) / width
        settling = 1 - (tau / width) * (-np.expm1(-width / tau)) * np.exp(np.minimum(0.0, (width - times) / tau))
        answer = np.where(times < width, rising, settling)
        wanted = np.clip(np.arange(th.FRACTIONS + 1) / th.FRACTIONS, 0.01, 0.99)
        partly = np.where((answer > th.PARTLY[0]) & (answer < th.PARTLY[1]), answer * (1 - answer), 0.0)
        return np.interp(wanted, answer, times) - width / 2 - tau, float(np.trapezoid(partly, times))

    @classmethod
    @functools.cache
    def of(cls, tau_scans: float, interval_s: float) -> "EdgeResponse":
        """The tables of a board's channels: boards of one kind share them, and a board that starts again needs no others."""
        return cls(tau_scans, interval_s)

    def level(self, seen: Floats) -> Ints:
        """Which width explains a mean of f (1 - f), any shape."""
        middles = (self.seen[1:] + self.seen[:-1]) / 2
        return np.searchsorted(middles, seen).astype(np.intp)

    def reached_after(self, level: Ints, fractions: Floats) -> Floats:
        """When edges of some widths reach some fractions, scans from their places."""
        places = fractions * th.FRACTIONS
        below = np.minimum(places.astype(np.intp), th.FRACTIONS - 1)
        here = self.after[level, below]
        return np.asarray(here + (places - below) * (self.after[level, below + 1] - here))


@dataclass(slots=True, kw_only=True)
class Edges:
    """Edges, e of them; those that rise come first, each in order of row and half cycle.

    Attributes:
        side: Shape (e,), like most below: 0 for a rise, 1 for a fall, which is the mirror of a rise.
        row: Which row of samples.
        half: Which half cycle.
        ahead: 1 for a rise, -1 for a fall: the direction from the pause to the live side.
        settled: The first sample that has all of the edge behind it.
        seen: Shape (wait + 4, e): samples from the dead one before the edge to the second one behind the settled.
        angle: Phase of the settled sample on the grid, rad.
        span: Scans to the half cycle.
        step: Phase from one scan to the next, rad.
        first: The sine at the settled sample.
        slope: Its slope in the direction ahead, by rad.
        lone: Whether no two settled samples are left to lay the sine through, so that the grid tells how it lies (deep cuts).
    """

    side: Ints
    row: Ints
    half: Ints
    ahead: Ints
    settled: Ints
    seen: Floats
    angle: Floats
    span: Floats
    step: Floats
    first: Floats
    slope: Floats
    lone: Bools

    @classmethod
    def of(cls, values: Floats, dead: Ints, wait: int, base: Floats, later: Floats) -> "Edges":
        """Those beside dead samples that have a true edge, not only a natural zero.

        Args:
            values: Shape (rows, n): counts less zero.
            dead: Shape (2, rows, h): the dead sample beside what may be a rise or a fall; -1 where there is none.
            wait: Samples between the dead and the settled one.
            base: Shape (h + 1,): where half cycles begin, scans.
            later: Shape (rows,): how much later than its nominal place each row was sampled, scans.
        """
        side, row, half = np.nonzero(dead >= 0)
        ahead = 1 - 2 * side
        settled = dead[side, row, half] + ahead * (wait + 1)
        seen = values[row, settled + ahead * np.arange(-wait - 1, 3)[:, None]]
        span = base[half + 1] - base[half]
        step, (first, second) = np.pi / span, seen[-3:-1]
        highest = np.abs(seen[1:-2]).max(axis=0)
        edges = cls(
            side=side,
            row=row,
            half=half,
            ahead=ahead,
            settled=settled,
            seen=seen,
            angle=np.pi * (settled + later[row] - base[half]) / span,
            span=span,
            step=step,
            first=first.copy(),
            slope=(second - first * np.cos(step)) / np.sin(step),
            lone=second * np.sign(first) <= highest / 8,
        )
        beside = np.sign(first) * (2 * first * np.cos(step) - second)
        true = (
            (np.abs(first) >= th.EDGE_LEAST_COUNTS)
            & (np.abs(first) <= th.STEEPEST * beside)
            & (edges.angle > 0)
            & (edges.angle < np.pi)
        )
        return edges.where(np.where(edges.lone, edges._deep(highest), true))

    def _deep(self, highest: Floats) -> Bools:
        """Whether what is left is the end of the half cycle and the natural zero (or zero and beginning, for falls)."""
        caught = self.seen[1:-3]
        back = np.where(np.abs(caught[0]) > np.abs(self.first), len(caught), 0)
        loudest = self.angle - self.ahead * back * self.step
        from_zero = np.where(self.side == 0, np.pi - loudest, loudest)
        return (highest >= th.EDGE_LEAST_COUNTS) & (from_zero > 0) & (from_zero < np.pi / 2)

    def __len__(self) -> int:
        """How many edges."""
        return len(self.row)

    @property
    def at(self) -> tuple[Ints, Ints, Ints]:
        """Side, row and half cycle: where each belongs in arrays of shape (2, rows, h)."""
        return self.side, self.row, self.half

    @property
    def wait(self) -> int:
        """Samples between the dead and the settled one."""
        return len(self.seen) - 4

    def where(self, keep: Bools) -> "Edges":
        """Only those for which keep, shape (e,), is True."""
        return self if keep.all() else Edges(**{each.name: getattr(self, each.name)[..., keep] for each in fields(self)})

    def samples(self) -> Ints:
        """Places of the samples from the dead to the settled one, shape (wait + 2, e)."""
        return np.asarray(self.settled - self.ahead * np.arange(self.wait + 1, -1, -1)[:, None])

    def peaks(self) -> tuple[Floats, Bools]:
        """Peak of the sine behind each edge, and whether it can be trusted."""
        peaks, sure = np.hypot(self.first, self.slope), ~self.lone
        lone = np.flatnonzero(self.lone)
        if len(lone):
            sines = self._sines(lone)[1:]
            # Samples on the way stay below the sine: the highest told of it is the best.
            seen = np.abs(self.seen[1:-2, lone])
            told = np.where(sines >= th.LEAST_SINE, seen / np.maximum(sines, th.LEAST_SINE), 0.0).max(axis=0)
            peaks[lone] = told
            sure[lone] = (sines[-1] >= th.SURE_SINE) | ((sines[-1] < th.LEAST_SINE) & (told > 0))
        return peaks, sure

    def fractions(self, peaks: Floats) -> tuple[Floats, Floats]:
        """What each sample from the dead to the settled one is a fraction of, and how far that may be off; shape (wait + 2, e)."""
        seen = self.seen[:-2]
        sign = np.sign(self.first)
        sine = np.empty(seen.shape)
        sine[-1] = self.first
        twice, before = 2 * np.cos(self.step), self.seen[-2]
        for k in range(self.wait, -1, -1):
            sine[k] = twice * sine[k + 1] - before
            before = sine[k + 1]
        lone = np.flatnonzero(self.lone)
        if len(lone):
            some = seen[:, lone]
            sign[lone] = np.sign(some[np.abs(some).argmax(axis=0), np.arange(len(lone))])
            sine[:, lone] = sign[lone] * peaks[lone] * self._sines(lone)
        sine *= sign
        told = sine >= th.EDGE_LEAST_COUNTS
        sine[~told] = np.nan
        fractions = np.clip(sign * seen / sine, 0.0, 1.0)
        doubts = th.FRACTION_DOUBT * (1 + self.lone) + th.NOISE_DOUBT_COUNTS / sine
        fractions[-1] = np.where(self.lone, np.nan, 1.0)
        return fractions, doubts

    def come_closer(self, settled_after: Floats, place: Floats, fractions: Floats) -> None:
        """Lay the sine through samples closer to the edge where the last of those that might have been on the way is not.

        Args:
            settled_after: Shape (e,): so long after its place all of an edge is behind a sample, scans.
            place: Shape (e,): of each edge.
            fractions: Shape (wait + 2, e), of :meth:`fractions`.
        """
        since = (self.settled - self.ahead - place) * self.ahead
        after = np.where(self.side == 0, settled_after, 0.0)
        near = ~self.lone & (since > after) & (fractions[-2] >= 1 - th.FRACTION_DOUBT)
        self.seen = np.where(near, np.concatenate([np.zeros((1, len(self))), self.seen[:-1]]), self.seen)
        first, second = self.seen[-3:-1]
        self.slope = np.where(near, (second - first * np.cos(self.step)) / np.sin(self.step), self.slope)
        self.first = np.where(near, first, self.first)
        self.settled = self.settled - near * self.ahead
        self.angle = self.angle - near * self.ahead * self.step

    def lay_deep(self, after: Floats, place: Floats, peaks: Floats) -> None:
        """Lay the sine behind each deep cut by all of its samples, each for what it tells.

        Args:
            after: Shape (e, fractions + 1): when each edge has reached each fraction, scans from its place.
            place: Shape (e,): of each edge.
            peaks: Shape (e,): peak of the sine from half cycles that show it well.
        """
        lone = np.flatnonzero(self.lone)
        if not len(lone):
            return
        times = self.samples()[1:, lone] - place[lone]
        upto = [_reached(after[lone], times + shift) for shift in (-0.025, 0.0, 0.025)]
        reached = np.where(self.side[lone] == 0, upto[1], 1 - upto[1])
        sines = self._sines(lone)[1:]
        shape = reached * sines
        doubt = 0.02**2 + th.PHASE_DOUBT_RAD**2 * (1 - sines**2) + ((upto[2] - upto[0]) * sines) ** 2
        size = (self.seen[1:-2, lone] * shape / doubt).sum(axis=0) / np.maximum((shape**2 / doubt).sum(axis=0), 1e-6)
        size = np.clip(size, -th.HELD_MOST * peaks[lone], th.HELD_MOST * peaks[lone])
        self.first[lone] = size * np.sin(self.angle[lone])
        self.slope[lone] = size * self.ahead[lone] * np.cos(self.angle[lone])

    def _sines(self, some: Ints) -> Floats:
        """The sine of peak 1 as the grid has it, from the dead to the settled sample; 0 beyond natural zeros."""
        back = np.arange(self.wait + 1, -1, -1)[:, None]
        return np.asarray(np.sin(np.clip(self.angle[some] - self.ahead[some] * back * self.step[some], 0.0, np.pi)))


def trapezoid(seen: Floats, lone: Bools) -> Floats:
    """Trapezoid sum of what was seen from the dead to the settled sample, one sample further in deep cuts."""
    total = seen[:-2].sum(axis=0) - (seen[0] + seen[-3]) / 2
    return np.asarray(total + np.where(lone, (seen[-3] + seen[-2]) / 2, 0.0))


def _reached(after: Floats, times: Floats) -> Floats:
    """Fraction of each of e edges reached at some times, shape (k, e), by straight lines between the fractions of the table."""
    last = after.shape[1] - 1
    upto = np.clip((after <= times[..., None]).sum(axis=-1) - 1, 0, last - 1)
    edge = np.arange(len(after))
    here, there = after[edge, upto], after[edge, upto + 1]
    return np.asarray(np.clip(upto + (times - here) / np.maximum(there - here, 1e-9), upto, upto + 1) / last)
