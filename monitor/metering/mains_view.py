"""The mains as the volts channels show it: phase and frequency of the fundamental, frame by frame."""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from monitor.metering import thresholds as th
from monitor.metering.sine_fit import FrameSamples, PausedMains, SineFit, boxed
from monitor.values.arrays import Bools, Floats, Ints, Phasors


@dataclass(frozen=True, slots=True, kw_only=True)
class MainsView:
    """Frames, f of them, half a nominal cycle apart.

    Attributes:
        times_s: Shape (f,): the node of each frame, board seconds.
        seen: Shape (f,): whether the mains is in sight.
        phases: Shape (f,): phase of the reference's positive-going zero crossing against the nominal frequency, at the node, rad.
        drifts: Shape (f,): rad/s above the nominal frequency.
        first_ripe: Index of the first frame whose estimate is whole.
        untold: Shape (f,): whether the phase hangs on samples that may lie on steep edges, or did not long ago.
        phasors: Complex, shape (channels, f): fundamental of each channel (peak), averaged over the window.
        frames: Shape (f,): number of each frame since the hole.
    """

    times_s: Floats
    seen: Bools
    phases: Floats
    drifts: Floats
    first_ripe: int
    untold: Bools
    phasors: Phasors
    frames: Ints

    def sliced(self, start: int, stop: int) -> "MainsView":
        """Some of the frames."""
        arrays = {each.name: getattr(self, each.name)[..., start:stop] for each in fields(self) if each.name != "first_ripe"}
        return MainsView(first_ripe=max(0, self.first_ripe - start), **arrays)


class MainsTracker:
    """Makes frames of the volts channels, two nominal cycles long.

    Args:
        hertz: Nominal mains frequency.
        interval_s: Seconds between scans.
        skew_s: Shape (channels,): conversion time within the scan.
        gain: Shape (channels,): units per count, NaN for a channel not to be used.
    """

    def __init__(self, hertz: float, interval_s: float, skew_s: Floats, gain: Floats) -> None:
        self._omega = 2 * np.pi * hertz
        self._interval_s = interval_s
        self.hop_scans = max(2, round(0.5 / hertz / interval_s))
        self._fit = SineFit(self.hop_scans, self._omega * interval_s)
        self._turn = gain * np.exp(-1j * self._omega * skew_s)
        self._usable = np.isfinite(gain)
        self._turn[~self._usable] = 0.0
        self._faintest = th.FAINTEST_COUNTS * np.abs(np.where(self._usable, gain, np.inf))
        self._reference = -1
        self.begin(0.0, ripen=True)

    @property
    def next_scan(self) -> int:
        """The first scan since the hole that later frames still need."""
        return self._made * self.hop_scans

    def begin(self, start_s: float, *, ripen: bool) -> None:
        """Scans begin anew after a hole."""
        self._start_s = start_s
        self._made = 0
        self._held = ripen
        self._linked = False
        self._before = np.zeros(len(self._turn))
        if ripen:
            self._ripened = 0
            self._past = _Frames(len(self._turn))
            self._paused = PausedMains(len(self._turn), self.hop_scans, self._omega * self._interval_s, th.BAND)

    def feed(self, values: Floats) -> MainsView | None:
        """Frames that became complete."""
        fitted, cut, live = self._fit.frames(values)
        count = fitted.shape[1]
        if not count:
            return None
        numbers = np.arange(self._made, self._made + count)
        links = np.ones(count)
        links[0] = float(self._linked)
        samples = FrameSamples(values=values, before=self._before, live=live, places=np.arange(count), hop=self.hop_scans)
        fitted, untold = self._paused.fitted(fitted, cut, links, samples)
        self._add(fitted, untold, numbers, links, self._start_s)
        self._linked = True
        self._before = values[:, count * self.hop_scans - 1]
        self._made += count
        if self._held and self._made < th.RIPE_FRAMES:
            return None
        return self._release(self._made if self._held else count)

    def feed_runs(self, values: Floats, runs: Sequence[tuple[float, int, int]]) -> list[MainsView | None]:
        """Frames of runs that begin after short holes and end, all at once.

        Args:
            values: Shape (channels, n): counts less zero.
            runs: Of each the board time of its first scan, and where it begins and ends in the values.
        """
        hop = self.hop_scans
        blocks = [(stop - first - 1) // hop for _, first, stop in runs]
        full = [k for k, count in enumerate(blocks) if count >= th.HOPS]
        if not full:
            return [None] * len(runs)
        counts = np.array([blocks[k] - th.HOPS + 1 for k in full])
        # One hop more of each run: its next sample and silence, and no frame is taken that reaches there.
        joined = np.zeros((len(values), sum(blocks[k] + 1 for k in full) * hop))
        begins = np.cumsum([0, *(blocks[k] + 1 for k in full[:-1])])
        for k, begin in zip(full, begins.tolist(), strict=True):
            size = blocks[k] * hop + 1
            joined[:, begin * hop : begin * hop + size] = values[:, runs[k][1] : runs[k][1] + size]
        fitted, cut, live = self._fit.frames(joined)
        places = np.repeat(begins, counts)
        numbers = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
        starts_s = np.repeat([runs[k][0] for k in full], counts)
        links, some = (numbers > 0).astype(np.float64), places + numbers
        samples = FrameSamples(values=joined, before=np.zeros(len(values)), live=live[:, some], places=some, hop=hop)
        fitted, untold = self._paused.fitted(fitted[:, some], cut[:, some], links, samples)
        self._add(fitted, untold, numbers, links, starts_s)
        first_ripe = max(0, th.WINDOW_FRAMES - self._ripened)
        self._ripened += len(numbers)
        whole = self._view(self._past, numbers, first_ripe, starts_s)
        self._past.trim()
        views: list[MainsView | None] = [None] * len(runs)
        stops = np.cumsum(counts).tolist()
        for k, stop, count in zip(full, stops, counts.tolist(), strict=True):
            views[k] = whole.sliced(stop - count, stop)
        return views

    def close(self) -> MainsView | None:
        """Scans end here: frames still held back."""
        return self._release(self._made) if self._held and self._made else None

    def _release(self, count: int) -> MainsView:
        self._held = False
        first_ripe = max(0, th.WINDOW_FRAMES - self._ripened)
        self._ripened += count
        view = self._view(self._past, np.arange(self._made - count, self._made), first_ripe, self._start_s)
        self._past.trim()
        return view

    def _add(self, fitted: Phasors, untold: Bools, numbers: Ints, links: Floats, start_s: Floats | float) -> None:
        """Frames turned back by the nominal phase at their middles, with their numbers in runs that start at some time."""
        centres_s = np.asarray(start_s + ((numbers + 2) * self.hop_scans - 0.5) * self._interval_s)
        turned = np.asarray(fitted * np.exp(-1j * self._omega * centres_s) * self._turn[:, None])
        self._past.add(turned, untold, centres_s, links)

    def _view(self, past: "_Frames", numbers: Ints, first_ripe: int, start_s: Floats | float) -> MainsView:
        turned, energy, phasors, middle_s, whole = past.windows(len(numbers))
        hop_s = self.hop_scans * self._interval_s
        size = phasors.real**2 + phasors.imag**2
        # Squares and tangents stand for sizes and angles: the comparisons are the same and much cheaper.
        good = turned.real**2 + turned.imag**2 >= (th.MAINS_STEADIEST * energy) ** 2
        good &= np.abs(turned.imag) <= np.tan(th.BAND * self._omega * hop_s) * turned.real
        good &= (size >= self._faintest[:, None] ** 2) & (np.arange(len(numbers)) >= first_ripe) & whole
        reference = self._references(np.where(good, size, 0.0))
        column = np.arange(len(numbers))
        times_s = start_s + ((numbers + 4) * self.hop_scans - th.NODE_BACK_SCANS) * self._interval_s
        drift = np.angle(turned[reference, column]) / hop_s
        return MainsView(
            times_s=np.asarray(times_s, dtype=np.float64),
            seen=good[reference, column],
            phases=np.angle(phasors[reference, column]) + np.pi / 2 + drift * (times_s - middle_s),
            drifts=drift,
            first_ripe=first_ripe,
            untold=past.untold(len(numbers))[reference, column],
            phasors=phasors,
            frames=numbers,
        )

    def _references(self, size: Floats) -> Ints:
        """Which channel the grid follows at each frame: stays with one until it is less than half as strong as the best."""
        best = size.argmax(axis=0)
        strongest = size.max(axis=0)
        chosen = np.empty(size.shape[1], dtype=np.intp)
        at = 0
        while at < len(chosen):
            held = size[self._reference, at:] if self._reference >= 0 else np.zeros(len(chosen) - at)
            worse = np.flatnonzero(held < 0.25 * strongest[at:])
            stop = at + int(worse[0]) if len(worse) else len(chosen)
            chosen[at:stop] = max(0, self._reference)
            if stop < len(chosen):
                self._reference = int(best[stop])
                chosen[stop] = self._reference
                stop += 1
            at = stop
        return chosen


class _Frames:
    """Frames not yet forgotten; they reach back over short holes, but no turn is counted across one."""

    def __init__(self, channels: int) -> None:
        self._frames: Phasors = np.zeros((channels, th.WINDOW_FRAMES), dtype=np.complex128)
        self._centres_s: Floats = np.zeros(th.WINDOW_FRAMES)
        self._linked: Floats = np.zeros(th.WINDOW_FRAMES)
        self._untold = np.zeros((channels, th.WINDOW_FRAMES), dtype=bool)

    def add(self, frames: Phasors, untold: Bools, centres_s: Floats, links: Floats) -> None:
        """Frames that follow; links are 1 where one follows the one before without a hole, else 0."""
        self._frames = np.concatenate([self._frames, frames], axis=1)
        self._untold = np.concatenate([self._untold, untold], axis=1)
        self._centres_s = np.concatenate([self._centres_s, centres_s])
        self._linked = np.concatenate([self._linked, links])

    def windows(self, count: int) -> tuple[Phasors, Floats, Phasors, Floats, Bools]:
        """For the windows that end with each of the last frames.

        Returns:
            Turns, energy of what turned, mean phasors, middle times, and whether all frames of the window could be fitted.
        """
        some = slice(-(count + th.WINDOW_FRAMES), None)
        frames, links = self._frames[:, some], self._linked[some][1:]
        after = frames[:, 1:]
        turned = boxed(after * frames[:, :-1].conj() * links, th.WINDOW_FRAMES)
        energy = boxed((after.real**2 + after.imag**2) * links, th.WINDOW_FRAMES)
        middle_s = boxed(self._centres_s[None, some][:, 1:], th.WINDOW_FRAMES)[0] / th.WINDOW_FRAMES
        whole = boxed((after != 0).astype(np.float64), th.WINDOW_FRAMES) == th.WINDOW_FRAMES
        return turned, energy, boxed(after, th.WINDOW_FRAMES) / th.WINDOW_FRAMES, middle_s, whole

    def untold(self, count: int) -> Bools:
        """Of the last frames, shape (channels, count): that stands for long enough to hold for whole windows."""
        return self._untold[:, -count:]

    def trim(self) -> None:
        """Forget what no later window reaches."""
        self._untold = self._untold[:, -th.WINDOW_FRAMES :]
        self._frames = self._frames[:, -th.WINDOW_FRAMES :]
        self._centres_s = self._centres_s[-th.WINDOW_FRAMES :]
        self._linked = self._linked[-th.WINDOW_FRAMES :]
