"""Amplitude and phase of the mains in frames of samples."""

import numpy as np
from numpy.typing import NDArray

from monitor.metering import thresholds as th
from monitor.values.arrays import Floats

Bools = NDArray[np.bool_]
Phasors = NDArray[np.complex128]


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
        sums = np.add.reduce([parts[:, k : k + count, rows * k : rows * (k + 1)] for k in range(th.HOPS)])
        return np.moveaxis(sums, 2, 0)


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
