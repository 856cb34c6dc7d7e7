"""What kind of waveform an output gives."""

import numpy as np
from numpy.typing import NDArray

from monitor.values import WaveformKind

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

BOTH_WAYS = 0.2
"""AC reaches at least this share of its higher peak in the other direction, whatever offset sounds the whistle."""
RIPPLE_OF_DC = 0.1
"""DC has less than this share of its mean as RMS ripple; a full-wave rectified sine has 0.48 (textbook)."""
TWO_LEVELS = 1.13
"""Mean times peak over mean square, taken from the lowest value up: 1 for a waveform of two levels, 4/pi = 1.27 for rectified
sines (closed forms), 1.5 for the sawtooth of a smoothing capacitor; half way between the first two lies the limit."""


def waveform_kinds(
    rms: Floats, mean: Floats, top: Floats, bottom: Floats, steep: Floats, off_below: Floats
) -> tuple[tuple[tuple[WaveformKind, ...], ...], Bools]:
    """Name waveforms.

    Args:
        rms: Shape (n, d), like mean, top and bottom: RMS volts of each window.
        mean: Mean volts.
        top: Highest volts.
        bottom: Lowest volts.
        steep: Shape (n, d): share of half cycles with a steep edge, 0-1.
        off_below: Shape (d,): RMS below which an output counts as off.

    Returns:
        n tuples of d kinds, and where the waveform is phase-cut, shape (n, d).
    """
    off = ~(rms >= off_below)
    low_peak, high_peak = np.minimum(top, -bottom), np.maximum(top, -bottom)
    both_ways = low_peak >= BOTH_WAYS * high_peak
    ripple = np.sqrt(np.maximum(0.0, rms**2 - mean**2))
    smooth = ripple <= RIPPLE_OF_DC * np.abs(mean)
    sign = np.where(mean < 0, -1.0, 1.0)
    # Taken from the lowest value up, so that a motor's own volts in the pauses do not hide the two levels.
    foot = np.where(mean < 0, -top, bottom)
    height = np.where(mean < 0, -bottom, top) - foot
    above = sign * mean - foot
    square = rms**2 - 2 * foot * sign * mean + foot**2
    pulsed = above * height < TWO_LEVELS * square
    cut = ~off & both_ways & (steep >= 0.5)
    code = np.select(
        [off, cut, both_ways, smooth, pulsed],
        [_CODES.index(kind) for kind in (WaveformKind.OFF, WaveformKind.PHASE_CUT, WaveformKind.SINE, WaveformKind.DC)]
        + [_CODES.index(WaveformKind.PULSED)],
        _CODES.index(WaveformKind.RECTIFIED),
    )
    return tuple(tuple(_CODES[k] for k in row) for row in code.tolist()), cut


def conduction_degrees(conduction: Floats, starts: NDArray[np.intp], cut: Bools) -> Floats:
    """Mean conduction angle of each window, shape (n, d); NaN where the waveform is not phase-cut.

    Args:
        conduction: Shape (half cycles, d): share of each half cycle, NaN where unknown.
        starts: Shape (n,): first half cycle of each window.
        cut: Shape (n, d).
    """
    if not cut.any():
        return np.full(cut.shape, np.nan)
    known = np.isfinite(conduction)
    total = np.add.reduceat(np.where(known, conduction, 0.0), starts, axis=0)
    count = np.add.reduceat(known.astype(np.float64), starts, axis=0)
    return np.where(cut & (count > 0), 180 * total / np.maximum(count, 1.0), np.nan)


_CODES = tuple(WaveformKind)
