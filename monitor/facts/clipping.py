"""Amps beyond the range of their sensor: what a wave must have been whose top is cut off."""

import functools
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from monitor.facts import thresholds as t
from monitor.values import ReadingBlock
from monitor.values.arrays import Floats

ANGLES, TIMES, STEPS = 24, 60, 720


def unclipped(block: ReadingBlock, is_ac: NDArray[np.bool_]) -> ReadingBlock:
    """The readings with clipped AC amps restored: a sine, or one chopped as its volts are, is taken for the whole wave.

    Args:
        block: Readings.
        is_ac: Shape (d,): which districts carry AC.
    """
    if block.amps_clipped is None or not block.amps_clipped.any():
        return block
    volts_known = np.isfinite(block.volts_peak) & (block.volts_rms > 1.0)
    amps_known = np.isfinite(block.amps_rms) & (block.amps_peak > 0)
    rows, columns = np.nonzero(block.amps_clipped & is_ac & volts_known & amps_known)
    if not len(rows):
        return block
    peak = block.amps_peak[rows, columns]
    times = times_cut(block.volts_peak[rows, columns] / block.volts_rms[rows, columns], block.amps_rms[rows, columns] / peak)
    amps = block.amps_rms.copy()
    # The RMS of the whole wave is its amplitude over its crest factor, which is that of the volts.
    whole = times * peak * block.volts_rms[rows, columns] / block.volts_peak[rows, columns]
    amps[rows, columns] = np.where(times > 1.0, np.maximum(amps[rows, columns], whole), amps[rows, columns])
    return replace(block, amps_rms=amps)


def times_cut(crest: Floats, ratio: Floats) -> Floats:
    """Amplitude over the level at which a wave is cut off; 1 where nothing is cut off.

    Args:
        crest: Shape (n,): peak over RMS of the whole wave.
        ratio: Shape (n,): RMS over peak of what is left of it.
    """
    crests, times, table = _table()
    place = np.interp(crest, crests, np.arange(len(crests)))
    low = np.minimum(place.astype(np.intp), len(crests) - 2)
    share = (place - low)[:, None]
    ratios = (1 - share) * table[low] + share * table[low + 1]
    # The table rises along its rows: the first entry that is not below.
    above = np.argmax(ratios >= ratio[:, None], axis=1)
    found: Floats = np.where(ratio > ratios[:, -1], times[-1], times[above])
    return found


@functools.cache
def _table() -> tuple[Floats, Floats, Floats]:
    """Crest factors of sines chopped at rising angles, times that their amplitude is cut off, and RMS over peak of what is left."""
    angle = (np.arange(STEPS) + 0.5) * np.pi / STEPS
    chopped = np.sin(angle) * (angle >= np.linspace(0.0, t.CLIP_CUT_RAD, ANGLES)[:, None])
    crests = chopped.max(axis=1) / np.sqrt(np.mean(chopped**2, axis=1))
    times = np.geomspace(1.0, t.CLIP_TIMES, TIMES)
    left = np.minimum(chopped[:, None, :] / chopped.max(axis=1)[:, None, None] * times[:, None], 1.0)
    return crests, times, np.sqrt(np.mean(left**2, axis=2))
