"""The mains behind waveforms with pauses: a sine through what a phase-cut output leaves of it.

The fundamental of a cut waveform shifts with its edges and with how samples fall on them, the sine that was cut does not. It is fitted
to the live samples of several frames together (a deep cut leaves one or two of each half cycle), at the frequency that the frames'
fundamentals show over half a second: pauses make a fit at another frequency wander.
"""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from monitor.metering import thresholds as th
from monitor.metering.sine_fit import SineFit, solved
from monitor.values.arrays import Floats

Phasors = NDArray[np.complex128]
Bools = NDArray[np.bool_]
_Number = TypeVar("_Number", np.float64, np.complex128)


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameSamples:
    """Samples that frames were made of.

    Attributes:
        values: Shape (channels, n).
        before: Shape (channels,): the sample before the first; 0 where there is none.
        live: Shape (channels, f): where a frame has samples outside pauses.
        places: Shape (f,): the hop of the samples at which each frame begins, rising.
        hop: Scans to a hop.
    """

    values: Floats
    before: Floats
    live: NDArray[np.bool_]
    places: NDArray[np.intp]
    hop: int

    def live_sums(self, fit: SineFit, rows: NDArray[np.intp], some: slice) -> Phasors:
        """The live sums of some frames of some channels."""
        places = self.places[some]
        first, last = int(places[0]) * self.hop, (int(places[-1]) + th.HOPS) * self.hop + 1
        before = self.values[rows, first - 1] if first else self.before[rows]
        return fit.live_sums(self.values[rows, first:last], before)[..., places - places[0]]


class PausedMains:
    """Remembers the frames of all channels for as long as later fits need them.

    Args:
        channels: How many.
        hop_scans: Scans to half a nominal cycle.
        step_rad: Nominal mains phase from one scan to the next.
        band: Share of the nominal frequency that the mains is never further off.
    """

    def __init__(self, channels: int, hop_scans: int, step_rad: float, band: float) -> None:
        self._hop_scans, self._step_rad = hop_scans, step_rad
        self._fits: dict[float, SineFit] = {}
        self._turn = hop_scans * step_rad
        self._band = band
        self._turned: Phasors = np.zeros((channels, th.ROUGH_FRAMES - 1), dtype=np.complex128)
        self._energy: Floats = np.zeros((channels, th.ROUGH_FRAMES - 1))
        self._last: Phasors = np.zeros((channels, 1), dtype=np.complex128)
        self._sums: Phasors = np.zeros((5, channels, th.PAST_FRAMES), dtype=np.complex128)
        self._weak: NDArray[np.int64] = np.full(channels, th.WEAK_FRAMES + 1)
        self._turns: Floats = np.full((channels, th.PAST_FRAMES), self._turn)
        self._run: NDArray[np.int64] = np.zeros(channels, dtype=np.int64)
        self._told: NDArray[np.int64] = np.full(channels, th.UNTOLD_FRAMES + 1)
        self._runs: NDArray[np.intp] = np.zeros(th.PAST_FRAMES, dtype=np.intp)

    def fitted(self, phasors: Phasors, cut: NDArray[np.bool_], links: Floats, samples: FrameSamples) -> tuple[Phasors, Bools]:
        """The phasors, those of frames with pauses replaced, and where their phase is not to be trusted.

        Args:
            phasors: Shape (channels, f): fundamentals of frames, all that follow those given before.
            cut: Shape (channels, f): where there are pauses.
            links: Shape (f,): 1 where a frame follows the one before without a hole, else 0.
            samples: What the frames were made of.
        """
        off = self._off_nominal(phasors, links, cut)
        steps = np.round(off / th.TUNING)
        sums = self._live_sums(cut & samples.live, steps, samples)
        every = np.concatenate([self._sums, sums], axis=-1)
        runs = np.concatenate([self._runs, self._runs[-1] + np.cumsum(links == 0)])
        # Near the nominal frequency that one it is, not what a leaping edge makes of it.
        turn = np.concatenate([self._turns, self._turn * (1 + np.where(steps == 0, 0.0, off))], axis=1)
        self._sums, self._runs, self._turns = every[..., -th.PAST_FRAMES :], runs[-th.PAST_FRAMES :], turn[:, -th.PAST_FRAMES :]
        if not cut.any():
            self._unsure(~cut)
            return phasors, self._untold(cut)
        channels = np.flatnonzero(cut.any(axis=1))
        every, turn = every[:, channels], turn[channels]
        # Four frames are twice two; those further back are turned by what the mains turned since.
        for apart in (th.HOPS, 2 * th.HOPS):
            linked = runs[apart:] == runs[:-apart]
            back = np.exp(1j * apart * turn[:, apart:]) * linked
            before, every = every[..., :-apart], every[..., apart:].copy()
            for k, turned in enumerate((linked, back, back * back, linked, back)):
                every[k] += turned * before[k]
            runs, turn = runs[apart:], turn[:, apart:]
        found, firm = phasors.copy(), ~cut
        found[channels], sure = solved(every)
        firm[channels] |= sure
        unsure = self._unsure(firm)
        return np.where(cut, np.where(unsure, 0.0, found), phasors), self._untold(~firm & ~unsure & samples.live)

    def _untold(self, weak: Bools) -> Bools:
        """Where a phase was taken from samples that may lie on an edge, for want of others, and for some time after."""
        count = np.arange(1, weak.shape[1] + 1)
        told = count - np.maximum.accumulate(np.where(weak, count, -self._told[:, None]), axis=1)
        self._told = np.minimum(told[:, -1], th.UNTOLD_FRAMES + 1)
        return told <= th.UNTOLD_FRAMES

    def _live_sums(self, told: Bools, steps: Floats, samples: FrameSamples) -> Phasors:
        """Live sums, shape (5, channels, f): of each frame that tells something at its frequency; 0 elsewhere."""
        sums = np.zeros((5, *told.shape), dtype=np.complex128)
        for step in np.unique(steps[told]).tolist():
            if step not in self._fits:
                self._fits[step] = SineFit(self._hop_scans, self._step_rad * (1 + step * th.TUNING))
            here = told & (steps == step)
            rows, frames = np.flatnonzero(here.any(axis=1)), np.flatnonzero(here.any(axis=0))
            some = slice(int(frames[0]), int(frames[-1]) + 1)
            found = samples.live_sums(self._fits[step], rows, some)
            sums[:, rows, some] = np.where(here[rows, some], found, sums[:, rows, some])
        return sums

    def _unsure(self, firm: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Where a fit hangs on samples that may lie on an edge, and some that did not came not long ago: the mains runs on meanwhile."""
        count = np.arange(1, firm.shape[1] + 1)
        run = count - np.maximum.accumulate(np.where(firm, -self._run[:, None], count), axis=1)
        weak = count - np.maximum.accumulate(np.where(run >= th.FIRM_FRAMES, count, -self._weak[:, None]), axis=1)
        self._run, self._weak = np.minimum(run[:, -1], th.FIRM_FRAMES), np.minimum(weak[:, -1], th.WEAK_FRAMES + 1)
        return ~firm & (weak <= th.WEAK_FRAMES)

    def _off_nominal(self, phasors: Phasors, links: Floats, cut: NDArray[np.bool_]) -> Floats:
        """How far each frame is off the nominal frequency, as a share of it; 0 where there are no pauses, or where it is not steady."""
        before = np.concatenate([self._last, phasors[:, :-1]], axis=1)
        turned = np.concatenate([self._turned, phasors * before.conj() * links], axis=1)
        energy = np.concatenate([self._energy, (phasors.real**2 + phasors.imag**2) * links], axis=1)
        self._last, self._turned, self._energy = (
            phasors[:, -1:],
            turned[:, 1 - th.ROUGH_FRAMES :],
            energy[:, 1 - th.ROUGH_FRAMES :],
        )
        off = np.zeros(phasors.shape)
        if cut.any():
            turned, energy = boxed(turned, th.ROUGH_FRAMES), boxed(energy, th.ROUGH_FRAMES)
            off = np.angle(turned * np.exp(-1j * self._turn)) / self._turn
            off[~cut | (np.abs(turned) < th.PAUSED_STEADIEST * energy) | (np.abs(off) > self._band)] = 0.0
        return off


def boxed(values: NDArray[_Number], count: int) -> NDArray[_Number]:
    """Sums of each ``count`` (a power of two) neighbours along the last axis, always added in the same order."""
    width = 1
    while width < count:
        values = values[:, width:] + values[:, :-width]
        width *= 2
    return values
