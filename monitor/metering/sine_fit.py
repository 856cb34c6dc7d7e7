"""Amplitude and phase of the mains in frames of samples."""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from monitor.metering import thresholds as th
from monitor.values.arrays import Bools, Floats, Ints, Phasors

_Number = TypeVar("_Number", np.float64, np.complex128)


class SineFit:
    """Fits frames of a fixed length.

    Where the waveform is whole, a frame is weighed with a Hann window, which hears neither DC nor harmonics. Where it has pauses,
    a sine with an offset is fitted by least squares to the samples outside them: its phase is that of the mains itself, wherever
    the edges lie, while the phase of the cut waveform's fundamental would shift with them and with how the samples fall on them.

    Args:
        hop: Scans to half a nominal cycle.
        step_rad: Nominal mains phase from one scan to the next.
    """

    def __init__(self, hop: int, step_rad: float) -> None:
        self._hop = hop
        place = np.arange(th.HOPS * hop) + 0.5
        angle = step_rad * (place - th.HOPS * hop / 2)
        cos, sin, one = np.cos(angle), np.sin(angle), np.ones(th.HOPS * hop)
        hann = 1 - np.cos(2 * np.pi * place / (th.HOPS * hop))
        kernel = hann * np.exp(-1j * angle)
        kernel -= hann * (kernel.sum() / hann.sum())
        kernel *= 2 / hann.sum()
        self._hann = self._by_hop([kernel.real, kernel.imag])
        self._mask = self._by_hop([one, cos, sin, cos * cos, cos * sin])
        self._live = self._by_hop([one, cos, sin])

    def frames(self, values: Floats) -> tuple[Phasors, Bools, Bools]:
        """Complex amplitude (peak) of each frame at its middle, frames one hop apart.

        Args:
            values: Shape (channels, n): counts less zero; the last sample shows only whether the one before it is the last of its kind.

        Returns:
            Shape (channels, (n - 1) // hop - 3); where the waveform has pauses; and where there is anything but pauses.
        """
        blocks = (values.shape[1] - 1) // self._hop
        if blocks < th.HOPS:
            none = np.zeros((len(values), 0), dtype=bool)
            return np.zeros(none.shape, dtype=np.complex128), none, none
        parts = values[:, : blocks * self._hop].reshape(len(values), blocks, self._hop)
        real, imag = self._summed(parts @ self._hann, 2)
        number = (np.abs(parts) >= th.SAMPLE_LIVE_COUNTS) @ np.ones(self._hop)
        number = number[:, :-3] + number[:, 1:-2] + number[:, 2:-1] + number[:, 3:]
        return np.asarray(real + 1j * imag), number < (1 - th.DEAD_SHARE) * th.HOPS * self._hop, number > 0

    def live_sums(self, values: Floats, before: Floats) -> Phasors:
        """What a least-squares sine through the live samples of each frame needs, but for those that may still lie on an edge.

        That is the one beside a pause, on the side where the next two after pauses are larger, unless it is the only one.

        Args:
            values: As for :meth:`frames`.
            before: Shape (channels,): the sample before the first; 0 where there is none.

        Returns:
            Shape (5, channels, frames): number, sums of exp(-ja) and of exp(-2ja), a the angle from the middle of the frame, of the
            samples, and of the samples times exp(-ja).
        """
        blocks = (values.shape[1] - 1) // self._hop
        sizes = np.abs(np.concatenate([before[:, None], values[:, : blocks * self._hop + 1]], axis=1))
        parts = values[:, : blocks * self._hop].reshape(len(values), blocks, self._hop)
        live = sizes >= th.SAMPLE_LIVE_COUNTS
        earlier, here, later = live[:, :-2], live[:, 1:-1], live[:, 2:]
        starts, ends = here & ~earlier, here & ~later
        first, last = np.maximum(sizes[:, 1:-1], sizes[:, 2:]), np.maximum(sizes[:, 1:-1], sizes[:, :-2])
        beside = np.stack([starts * first, ends * last, starts, ends]).reshape(4, *parts.shape) @ np.ones(self._hop)
        first, last, begun, ended = beside[..., :-3] + beside[..., 1:-2] + beside[..., 2:-1] + beside[..., 3:]
        leading = th.LEADING * first * ended >= last * begun
        sums = np.zeros((5, *leading.shape), dtype=np.complex128)
        for beside, other, some in ((earlier, later, leading), (later, earlier, ~leading)):
            if some.any():
                kept = np.where(beside | ~other, 1.0, th.EDGE_WEIGHT) * here
                kept = kept.reshape(parts.shape)
                number, cos, sin, cos_cos, cos_sin = self._summed(kept @ self._mask, 5)
                total, with_cos, with_sin = self._summed((kept * parts) @ self._live, 3)
                found = [number, cos - 1j * sin, 2 * cos_cos - number - 2j * cos_sin, total, with_cos - 1j * with_sin]
                sums = np.array(found) if some.all() else np.where(some, found, sums)
        return sums

    def _by_hop(self, rows: list[Floats]) -> Floats:
        """Weights as a matrix of shape (hop, HOPS x rows): those of the first hop first."""
        return np.stack([row[k * self._hop : (k + 1) * self._hop] for k in range(th.HOPS) for row in rows], axis=1)

    @staticmethod
    def _summed(parts: Floats, rows: int) -> Floats:
        """Each frame's sums over its four hops, shape (rows, channels, frames)."""
        count = parts.shape[1] - th.HOPS + 1
        by_row = np.ascontiguousarray(np.moveaxis(parts, 2, 0))
        sums = by_row[:rows, :, :count].copy()
        for k in range(1, th.HOPS):
            sums += by_row[rows * k : rows * (k + 1), :, k : k + count]
        return sums


def solved(sums: Phasors) -> tuple[Phasors, Bools]:
    """Complex amplitude of x = a cos + b sin + d by least squares over the live samples, a - jb; 0 where too little is live.

    The second array is True where the amplitude hangs on no sample that may lie on an edge.

    Args:
        sums: Shape (5, ...), as :meth:`SineFit.live_sums` gives them, of one or of several frames.
    """
    number = np.maximum(sums[0].real, th.EDGE_WEIGHT)
    cos, sin, total = sums[1].real, -sums[1].imag, sums[3].real
    cc = (number + sums[2].real) / 2 - cos * cos / number
    ss = (number - sums[2].real) / 2 - sin * sin / number
    cs = -sums[2].imag / 2 - cos * sin / number
    xc = sums[4].real - total * cos / number
    xs = -sums[4].imag - total * sin / number
    determinant = cc * ss - cs * cs
    told = determinant > th.WEAKEST * number * number
    scale = np.where(told, 1 / np.where(told, determinant, 1.0), 0.0)
    return (xc * ss - xs * cs) * scale - 1j * (xs * cc - xc * cs) * scale, determinant > th.FIRMEST * number * number


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
    live: Bools
    places: Ints
    hop: int

    def live_sums(self, fit: SineFit, rows: Ints, some: slice) -> Phasors:
        """The live sums of some frames of some channels."""
        places = self.places[some]
        first, last = int(places[0]) * self.hop, (int(places[-1]) + th.HOPS) * self.hop + 1
        before = self.values[rows, first - 1] if first else self.before[rows]
        return fit.live_sums(self.values[rows, first:last], before)[..., places - places[0]]


class PausedMains:
    """The mains behind waveforms with pauses: a sine through what a phase-cut output leaves of it.

    The fundamental of a cut waveform shifts with its edges and with how samples fall on them, the sine that was cut does not. It is
    fitted to the live samples of several frames together (a deep cut leaves one or two of each half cycle), at the frequency that the
    frames' fundamentals show over half a second: pauses make a fit at another frequency wander.

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
        self._last: Phasors = np.zeros((channels, 1), dtype=np.complex128)
        self._sums: Phasors = np.zeros((5, channels, th.PAST_FRAMES), dtype=np.complex128)
        self._weak: NDArray[np.int64] = np.full(channels, th.WEAK_FRAMES + 1)
        self._turns: Floats = np.full((channels, th.PAST_FRAMES), self._turn)
        self._run: NDArray[np.int64] = np.zeros(channels, dtype=np.int64)
        self._told: NDArray[np.int64] = np.full(channels, th.UNTOLD_FRAMES + 1)
        self._runs: Ints = np.zeros(th.PAST_FRAMES, dtype=np.intp)

    def fitted(self, phasors: Phasors, cut: Bools, links: Floats, samples: FrameSamples) -> tuple[Phasors, Bools]:
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

    def _unsure(self, firm: Bools) -> Bools:
        """Where a fit hangs on samples that may lie on an edge, and some that did not came not long ago: the mains runs on meanwhile."""
        count = np.arange(1, firm.shape[1] + 1)
        run = count - np.maximum.accumulate(np.where(firm, -self._run[:, None], count), axis=1)
        weak = count - np.maximum.accumulate(np.where(run >= th.FIRM_FRAMES, count, -self._weak[:, None]), axis=1)
        self._run, self._weak = np.minimum(run[:, -1], th.FIRM_FRAMES), np.minimum(weak[:, -1], th.WEAK_FRAMES + 1)
        return ~firm & (weak <= th.WEAK_FRAMES)

    def _off_nominal(self, phasors: Phasors, links: Floats, cut: Bools) -> Floats:
        """How far each frame is off the nominal frequency, as a share of it; 0 where there are no pauses, or that cannot be."""
        before = np.concatenate([self._last, phasors[:, :-1]], axis=1)
        turned = np.concatenate([self._turned, phasors * before.conj() * links], axis=1)
        self._last, self._turned = phasors[:, -1:], turned[:, 1 - th.ROUGH_FRAMES :]
        off = np.zeros(phasors.shape)
        if cut.any():
            off = np.angle(boxed(turned, th.ROUGH_FRAMES) * np.exp(-1j * self._turn)) / self._turn
            off[~cut | (np.abs(off) > self._band)] = 0.0
        return off


def boxed(values: NDArray[_Number], count: int) -> NDArray[_Number]:
    """Sums of each ``count`` (a power of two) neighbours along the last axis, always added in the same order."""
    width = 1
    while width < count:
        values = values[:, width:] + values[:, :-width]
        width *= 2
    return values
