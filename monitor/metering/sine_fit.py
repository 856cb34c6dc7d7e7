"""Amplitude and phase of the mains in frames of samples."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Phasors = NDArray[np.complex128]

HOPS = 4
"""A frame is four hops of half a nominal cycle: two cycles."""
LIVE_COUNTS = 6.0
"""A sample nearer to zero than this may lie in the pause of a phase-cut waveform."""
DEAD_SHARE = 0.08
"""With more samples than this in pauses the mains is fitted to the others only; a plain sine has some 2 %."""


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
        place = np.arange(HOPS * hop) + 0.5
        angle = step_rad * (place - HOPS * hop / 2)
        cos, sin, one = np.cos(angle), np.sin(angle), np.ones(HOPS * hop)
        hann = 1 - np.cos(2 * np.pi * place / (HOPS * hop))
        kernel = hann * np.exp(-1j * angle)
        kernel -= hann * (kernel.sum() / hann.sum())
        kernel *= 2 / hann.sum()
        self._hann = self._by_hop([kernel.real, kernel.imag])
        self._mask = self._by_hop([one, cos, sin, cos * cos, cos * sin])
        self._live = self._by_hop([one, cos, sin])

    def frames(self, values: Floats) -> Phasors:
        """Complex amplitude (peak) of each frame at its middle, frames one hop apart.

        Args:
            values: Shape (channels, n): counts less zero.

        Returns:
            Shape (channels, n // hop - 3).
        """
        blocks = values.shape[1] // self._hop
        if blocks < HOPS:
            return np.zeros((len(values), 0), dtype=np.complex128)
        parts = values[:, : blocks * self._hop].reshape(len(values), blocks, self._hop)
        real, imag = self._summed(parts @ self._hann, 2)
        live = (np.abs(parts) >= LIVE_COUNTS).astype(np.float64)
        number = live @ np.ones(self._hop)
        cut = number[:, :-3] + number[:, 1:-2] + number[:, 2:-1] + number[:, 3:] < (1 - DEAD_SHARE) * HOPS * self._hop
        if cut.any():
            cos, minus_sin = _solved(self._summed(live @ self._mask, 5), self._summed((live * parts) @ self._live, 3))
            real, imag = np.where(cut, cos, real), np.where(cut, minus_sin, imag)
        return np.asarray(real + 1j * imag)

    def _by_hop(self, rows: list[Floats]) -> Floats:
        """Weights as a matrix of shape (hop, HOPS x rows): those of the first hop first."""
        return np.stack([row[k * self._hop : (k + 1) * self._hop] for k in range(HOPS) for row in rows], axis=1)

    @staticmethod
    def _summed(parts: Floats, rows: int) -> Floats:
        """Each frame's sums over its four hops, shape (rows, channels, frames)."""
        count = parts.shape[1] - HOPS + 1
        sums = np.add.reduce([parts[:, k : k + count, rows * k : rows * (k + 1)] for k in range(HOPS)])
        return np.moveaxis(sums, 2, 0)


def _solved(masked: Floats, live: Floats) -> tuple[Floats, Floats]:
    """Least squares of x = a cos + b sin + d over the live samples: a and -b; 0 where too little is live."""
    number, cos, sin, cos_cos, cos_sin = masked
    total, with_cos, with_sin = live
    number = np.maximum(number, 1.0)
    cc = cos_cos - cos * cos / number
    ss = (number - cos_cos) - sin * sin / number
    cs = cos_sin - cos * sin / number
    xc = with_cos - total * cos / number
    xs = with_sin - total * sin / number
    determinant = cc * ss - cs * cs
    firm = determinant > 0.02 * number * number * 0.25
    scale = np.where(firm, 1 / np.where(firm, determinant, 1.0), 0.0)
    return (xc * ss - xs * cs) * scale, (xc * cs - xs * cc) * scale
