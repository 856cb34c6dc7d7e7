"""One grid of half cycles a board, locked to the mains."""

from dataclasses import dataclass, fields

import numpy as np

from monitor.metering import thresholds as th
from monitor.metering.mains_view import MainsView
from monitor.values.arrays import Bools, Floats, Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class GridNodes:
    """The grid's phase at some moments, to be taken as straight lines between.

    Attributes:
        times_s: Shape (m,): board seconds, rising.
        phases_rad: Shape (m,): phase of the mains, rising; a half cycle begins at every multiple of pi.
        hertz: Shape (m,): frequency; NaN where it is not known.
        untold: Shape (m,): whether the phase hangs on samples that may lie on steep edges.
    """

    times_s: Floats
    phases_rad: Floats
    hertz: Floats
    untold: Bools

    def edges(self) -> tuple[int, Floats]:
        """Number of the first half cycle that begins within the nodes, and the times at which it and all later ones begin."""
        first = int(np.ceil(self.phases_rad[0] / np.pi))
        last = int(np.floor(self.phases_rad[-1] / np.pi))
        return first, np.interp(np.arange(first, last + 1) * np.pi, self.phases_rad, self.times_s)

    def joined(self, later: "GridNodes") -> "GridNodes":
        """These nodes and then those."""
        return GridNodes(
            **{each.name: np.concatenate([getattr(self, each.name), getattr(later, each.name)]) for each in fields(self)}
        )


class CycleGrid:
    """Follows the phase of the mains.

    Where the mains is in sight the grid's phase is that of the chosen channel's fundamental, so that half cycles begin at
    its zero crossings. Where it is not, the grid runs on at the last known frequency, at first the nominal one: a fixed window. A
    correction of phase is spread out so that no window is ever more than half a per cent off the length of a cycle. Everything is
    decided on frames counted from the first scan after a hole, so nothing depends on how the stream was cut.
    """

    def __init__(self, hertz: float) -> None:
        self._omega = 2 * np.pi * hertz
        self._phase = 0.0
        self._drift = 0.0
        self._recent: Floats = np.zeros(0)
        self._time_s = 0.0
        self._unseen = th.HELD_FRAMES
        self._untold = False
        self._placed = False

    def forget(self) -> None:
        """A long hole: the phase after it says nothing about the phase before."""
        self._placed = False

    def advance(self, view: MainsView, start_s: float) -> GridNodes:
        """Follow the frames of one view."""
        if not self._placed:
            self._place(view, start_s)
        before = (self._time_s, self._phase, self._hertz())
        drift, phases, unseen = self._follow(view)
        known = unseen < th.HELD_FRAMES
        hertz = np.where(known, (self._omega + drift) / (2 * np.pi), np.nan)
        self._time_s, self._phase = float(view.times_s[-1]), float(phases[-1])
        self._drift, self._unseen = float(drift[-1]), int(unseen[-1])
        times_s = np.concatenate([[before[0]], view.times_s])
        turned = np.concatenate([[before[1]], phases]) + self._omega * times_s
        untold = np.concatenate([[self._untold], view.untold])
        self._untold = bool(untold[-1])
        return GridNodes(times_s=times_s, phases_rad=turned, hertz=np.concatenate([[before[2]], hertz]), untold=untold)

    def run_on(self, to_s: float) -> GridNodes:
        """Let the grid run on at its last frequency, with nothing to follow."""
        if not self._placed:
            self._placed = True
            self._time_s = to_s
        times_s = np.array([self._time_s, max(to_s, self._time_s)])
        phases = self._phase + self._drift * (times_s - self._time_s)
        self._time_s, self._phase = float(times_s[1]), float(phases[1])
        return GridNodes(
            times_s=times_s,
            phases_rad=phases + self._omega * times_s,
            hertz=np.full(2, self._hertz()),
            untold=np.full(2, self._untold),
        )

    def _hertz(self) -> float:
        return (self._omega + self._drift) / (2 * np.pi) if self._unseen < th.HELD_FRAMES else np.nan

    def _place(self, view: MainsView, start_s: float) -> None:
        """Put the grid where the first sight of the mains wants it, counted back to the start."""
        self._placed = True
        self._time_s = start_s
        seen = np.flatnonzero(view.seen)
        if len(seen) and seen[0] == view.first_ripe:
            k = seen[0]
            self._unseen = 0
            self._recent = np.zeros(0)
            self._drift = float(view.drifts[k])
            self._phase = float(view.phases[k]) + self._drift * (start_s - float(view.times_s[k]))

    def _follow(self, view: MainsView) -> tuple[Floats, Floats, Ints]:
        """Drift (rad/s against nominal), residual phase and frames since the mains was last seen, at each frame."""
        count = np.arange(len(view.seen))
        last_seen = np.maximum.accumulate(np.where(view.seen, count, -1))
        unseen = np.where(last_seen >= 0, count - last_seen, count + 1 + self._unseen)
        drift = self._drifts(view)
        steps = np.diff(view.times_s, prepend=self._time_s) * drift
        return drift, self._slewed(view, steps), np.minimum(unseen, th.HELD_FRAMES)

    def _drifts(self, view: MainsView) -> Floats:
        """Drift at each frame; where the mains is not in sight, the mean of what was seen last."""
        sights = np.concatenate([self._recent, view.drifts[view.seen]])
        so_far = len(self._recent) + np.cumsum(view.seen)
        self._recent = sights[-th.STEADY_FRAMES :]
        drift = np.where(view.seen, view.drifts, self._drift)
        for count in np.unique(so_far[~view.seen & (so_far > 0)]).tolist():
            drift[~view.seen & (so_far == count)] = sights[max(0, count - th.STEADY_FRAMES) : count].mean()
        return drift

    def _slewed(self, view: MainsView, steps: Floats) -> Floats:
        """The phases, never corrected by more than the slew; only stretches out of step are walked one by one."""
        phases = np.empty(len(steps))
        wanted, seen = view.phases, view.seen
        hops = np.round((wanted[1:] - wanted[:-1] - steps[1:]) / np.pi)
        errors = wanted[1:] - wanted[:-1] - steps[1:] - hops * np.pi
        jumps = np.flatnonzero(~(seen[1:] & seen[:-1] & (np.abs(errors) <= th.SLEW_RAD))) + 1
        turns = np.concatenate([[0], np.cumsum(hops.astype(np.int64))])
        phase, k = self._phase, 0
        while k < len(steps):
            phase += steps[k]
            error = _wrapped(wanted[k] - phase) if seen[k] else 0.0
            phase += min(th.SLEW_RAD, max(-th.SLEW_RAD, error))
            phases[k] = phase
            k += 1
            if seen[k - 1] and abs(error) <= th.SLEW_RAD:
                # In step: up to the next jump the phases are simply those wanted.
                place = np.searchsorted(jumps, k)
                stop = int(jumps[place]) if place < len(jumps) else len(steps)
                base = round((phase - wanted[k - 1]) / np.pi)
                phases[k - 1 : stop] = wanted[k - 1 : stop] + np.pi * (base + turns[k - 1] - turns[k - 1 : stop])
                phase, k = float(phases[stop - 1]), stop
        return phases


def _wrapped(angle: float) -> float:
    return float(angle - np.pi * round(angle / np.pi))
