"""Closed forms of waveforms."""

import numpy as np


def cut_rms(rms, degrees):
    """RMS of a sine of which both half cycles are cut up to the firing angle: U sqrt(1 - a/pi + sin(2a)/(2 pi)) (textbook)."""
    angle = np.radians(degrees)
    return rms * np.sqrt(1 - angle / np.pi + np.sin(2 * angle) / (2 * np.pi))
