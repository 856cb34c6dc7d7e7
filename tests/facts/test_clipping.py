"""Clipped amps restored, against numpy's own sums over the clipped samples."""

import dataclasses

import numpy as np
import pytest

from monitor.facts.clipping import times_cut, unclipped
from tests.protection.streams import readings

ANGLE = (np.arange(20_000) + 0.5) * 2 * np.pi / 20_000


def chopped(cut_rad):
    return np.sin(ANGLE) * (ANGLE % np.pi >= cut_rad)


@pytest.mark.parametrize("cut_rad", [0.0, 0.7, 1.3, 1.9])
@pytest.mark.parametrize("times", [1.2, 1.6, 2.4])
def test_amplitude_is_found_again(cut_rad, times):
    wave = chopped(cut_rad) / chopped(cut_rad).max()
    crest = 1 / np.sqrt(np.mean(wave**2))
    left = np.sqrt(np.mean(np.clip(times * wave, -1, 1) ** 2))
    assert times_cut(np.array([crest]), np.array([left]))[0] == pytest.approx(times, rel=0.03)


def test_only_clipped_ac_amps_are_restored():
    """30 A RMS through a sensor that ends at 25 A: the clipped RMS is 22.1 A."""
    wave = np.clip(30 * np.sqrt(2) * np.sin(ANGLE), -25, 25)
    clipped = float(np.sqrt(np.mean(wave**2)))
    block = readings(0.5, lambda t: clipped + 0 * t)
    shape = block.amps_rms.shape
    block = dataclasses.replace(
        block,
        volts_peak=block.volts_rms * np.sqrt(2),
        amps_peak=np.full(shape, 25.0),
        amps_clipped=np.array([[True, False]] * shape[0]),
    )
    restored = unclipped(block, np.array([True, True])).amps_rms
    assert restored[:, 0] == pytest.approx(30.0, rel=0.02)
    assert (restored[:, 1] == block.amps_rms[:, 1]).all()
    assert (unclipped(block, np.array([False, False])).amps_rms == block.amps_rms).all()
