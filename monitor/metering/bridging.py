"""Two outputs with their commons joined: the volts between the hots, and the amps when a train bridges the gap."""

import math

import numpy as np

from monitor.layout import Supply

USUAL_REGULATION = 0.10
"""Share of its volts that a toy transformer loses at its rated amps (common practice, no published source)."""


def difference_volts(
    volts_rms: tuple[float, float], volts_mean: tuple[float, float], degrees: float, conduction_degrees: tuple[float, float]
) -> float:
    """RMS of the difference of two outputs, as a voltmeter between the hots shows it.

    For sines it is sqrt(U1^2 + U2^2 - 2 U1 U2 cos(phi)). Phase-cut outputs are laid out over one cycle, each a sine from its firing
    angle to the end of the half cycle, and the difference is taken point by point.

    Args:
        volts_rms: RMS volts of each.
        volts_mean: DC volts of each.
        degrees: Angle of the first mains phase against the second.
        conduction_degrees: Conduction angle of each; 180 for a sine.
    """
    steady = volts_mean[0] - volts_mean[1]
    swing = [math.sqrt(max(0.0, rms**2 - mean**2)) for rms, mean in zip(volts_rms, volts_mean, strict=True)]
    if min(conduction_degrees) >= 180:
        alternating = swing[0] ** 2 + swing[1] ** 2 - 2 * swing[0] * swing[1] * math.cos(math.radians(degrees))
        return math.sqrt(max(0.0, alternating) + steady**2)
    angles = (np.arange(720) + 0.5) * (2 * np.pi / 720)
    waves = []
    for rms, shift, conduction in zip(swing, (math.radians(degrees), 0.0), conduction_degrees, strict=True):
        turned = angles + shift
        wave = np.where(turned % np.pi >= np.pi - math.radians(conduction), np.sin(turned), 0.0)
        size = float(np.sqrt(np.mean(wave**2)))
        waves.append(wave * (rms / size if size else 0.0))
    return math.sqrt(float(np.mean((waves[0] - waves[1]) ** 2)) + steady**2)


def source_ohms(supply: Supply) -> float:
    """Source impedance of a supply as its nameplate suggests: usual regulation at the rated amps of the highest volts."""
    rated_amps = supply.plate_va / supply.max_volts
    return USUAL_REGULATION * supply.max_volts / rated_amps if rated_amps else math.inf


def circulating_amps(difference: float, ohms_one: float, ohms_other: float, wire_ohms: float = 0.0) -> float:
    """RMS amps through a bridged gap: the difference over both source impedances and the wire (Ohm's law).

    Raises:
        ValueError: No impedance at all.
    """
    total = ohms_one + ohms_other + wire_ohms
    if not total > 0:
        raise ValueError("the impedances of the sources and the wire together must be above 0 ohms")
    return difference / total
