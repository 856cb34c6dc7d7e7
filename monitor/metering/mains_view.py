"""The mains as the volts channels show it: phase and frequency of the fundamental, frame by frame."""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from monitor.metering.sine_fit import SineFit

Floats = NDArray[np.float64]
Phasors = NDArray[np.complex128]
_Number = TypeVar("_Number", np.float64, np.complex128)

WINDOW_FRAMES = 16
"""Frames that one estimate is made of; with the frames' own length about ten half cycles beyond them: 9 to 10 cycles."""
RIPE_FRAMES = WINDOW_FRAMES + 1
NODE_BACK_SCANS = 4
"""A node lies this far before the end of its frame's scans, so that what is cut at nodes can still be interpolated."""
FAINTEST_COUNTS = 1.5
"""Lowest amplitude of the fundamental, in counts, that counts as seen; the noise of a 10-bit converter leaves 0.05."""
STEADIEST = 0.85
"""Lowest share of the frames' energy that turns steadily; noise has about 0.25."""
BAND = 0.05
"""Mains and resonator together are never further off the nominal frequency."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MainsView:
    """Frames, f of them, half a nominal cycle apart.

    Attributes:
        times_s: Shape (f,): the node of each frame, board seconds.
        seen: Shape (f,): whether the mains is in sight.
        phases: Shape (f,): phase of the reference's positive-going zero crossing against the nominal frequency, at the node, rad.
        drifts: Shape (f,): rad/s above the nominal frequency.
        first_ripe: Index of the first frame whose estimate is whole.
        phasors: Complex, shape (channels, f): fundamental of each channel (peak), averaged over the window.
        frames: Shape (f,): number of each frame since the hole.
    """

    times_s: Floats
    seen: NDArray[np.bool_]
    phases: Floats
    drifts: Floats
    first_ripe: int
    phasors: Phasors
    frames: NDArray[np.intp]


class MainsWatch:
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
        self._faintest = FAINTEST_COUNTS * np.abs(np.where(self._usable, gain, np.inf))
        self._reference = -1
        self.begin(0.0, ripen=True)

    @property
    def next_scan(self) -> int:
        """The first scan since the hole that later frames still need."""
        return self._made * self.hop_scans

    def begin(self, start_s: float, *, ripen: bool) -> None:
        """Scans begin anew after a hole.

        Args:
            start_s: Board time of the first scan.
            ripen: Whether to hold frames back until the first whole estimate.
        """
        self._start_s = start_s
        self._made = 0
        self._held = ripen
        self._recent: Phasors = np.zeros((len(self._turn), 0), dtype=np.complex128)

    def feed(self, values: Floats) -> MainsView | None:
        """Frames that became complete.

        Args:
            values: Shape (channels, n): counts less zero, from scan :attr:`next_scan` on.
        """
        new = self._frames(values)
        self._made += new.shape[1]
        self._recent = np.concatenate([self._recent, new], axis=1)
        if not new.shape[1] or (self._held and self._recent.shape[1] < RIPE_FRAMES):
            return None
        return self._release(self._recent.shape[1] if self._held else new.shape[1])

    def close(self) -> MainsView | None:
        """Scans end here: frames still held back."""
        return self._release(self._recent.shape[1]) if self._held and self._recent.shape[1] else None

    def _frames(self, values: Floats) -> Phasors:
        fitted = self._fit.frames(values)
        centres_s = self._start_s + ((np.arange(fitted.shape[1]) + self._made + 2) * self.hop_scans - 0.5) * self._interval_s
        return np.asarray(fitted * np.exp(-1j * self._omega * centres_s) * self._turn[:, None])

    def _release(self, count: int) -> MainsView:
        self._held = False
        recent = self._recent
        numbers = np.arange(self._made - count, self._made)
        before = recent.shape[1] - count
        if before < WINDOW_FRAMES:
            recent = np.concatenate([np.zeros((len(recent), WINDOW_FRAMES - before), dtype=np.complex128), recent], axis=1)
        self._recent = recent[:, -WINDOW_FRAMES:]
        return self._view(recent[:, -(count + WINDOW_FRAMES) :], numbers)

    def _view(self, frames: Phasors, numbers: NDArray[np.intp]) -> MainsView:
        turned = _boxed(frames[:, 1:] * frames[:, :-1].conj())
        energy = _boxed((frames.real**2 + frames.imag**2)[:, 1:])
        phasors = _boxed(frames[:, 1:]) / WINDOW_FRAMES
        hop_s = self.hop_scans * self._interval_s
        size = phasors.real**2 + phasors.imag**2
        # Squares and tangents stand for sizes and angles: the comparisons are the same and much cheaper.
        good = turned.real**2 + turned.imag**2 >= (STEADIEST * energy) ** 2
        good &= np.abs(turned.imag) <= np.tan(BAND * self._omega * hop_s) * turned.real
        good &= (size >= self._faintest[:, None] ** 2) & (numbers >= WINDOW_FRAMES)
        reference = self._references(np.where(good, size, 0.0))
        column = np.arange(len(numbers))
        times_s = self._start_s + ((numbers + 4) * self.hop_scans - NODE_BACK_SCANS) * self._interval_s
        middle_s = self._start_s + ((numbers + 2 - (WINDOW_FRAMES - 1) / 2) * self.hop_scans - 0.5) * self._interval_s
        drift = np.angle(turned[reference, column]) / hop_s
        return MainsView(
            times_s=np.asarray(times_s, dtype=np.float64),
            seen=good[reference, column],
            phases=np.angle(phasors[reference, column]) + np.pi / 2 + drift * (times_s - middle_s),
            drifts=drift,
            first_ripe=max(0, WINDOW_FRAMES - int(numbers[0])),
            phasors=phasors,
            frames=numbers,
        )

    def _references(self, size: Floats) -> NDArray[np.intp]:
        """Which channel the grid follows at each frame: stays with one until it is less than half as strong as the best.

        Args:
            size: Shape (channels, f): squared amplitude, 0 where the mains is not in sight.
        """
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


def _boxed(values: NDArray[_Number]) -> NDArray[_Number]:
    """Sums of each WINDOW_FRAMES neighbours along the last axis, always added in the same order."""
    width = 1
    while width < WINDOW_FRAMES:
        values = values[:, width:] + values[:, :-width]
        width *= 2
    return values
