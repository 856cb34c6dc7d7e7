"""Two outputs with their commons joined: the volts between the hots, and the amps when a train bridges the gap."""

import numpy as np

from monitor.layout import Supply
from monitor.metering import thresholds as th
from monitor.values.arrays import Floats


def difference_volts(volts_rms: Floats, volts_mean: Floats, degrees: Floats, conduction_degrees: Floats) -> Floats:
    """RMS of the difference of two outputs, as a voltmeter between the hots shows it.

    For sines it is sqrt(U1^2 + U2^2 - 2 U1 U2 cos(phi)). A phase-cut output is a sine from its firing angle to the end of the half cycle;
    the mean of the product, which stands for the cosine then, is integrated over where both conduct (closed form).

    Args:
        volts_rms: RMS volts, shape (2, n), like all below but degrees.
        volts_mean: DC volts.
        degrees: Angle of the first mains phase against the second, shape (n,).
        conduction_degrees: Conduction angles; 180 for a sine.
    """
    one, other = np.sqrt(np.maximum(0.0, volts_rms**2 - volts_mean**2))
    angle, live = np.radians(degrees), np.radians(conduction_degrees)
    turned = angle % np.pi
    product = np.zeros_like(angle)
    for end in (np.pi - turned, 2 * np.pi - turned):
        until = np.minimum(end, np.pi)
        since = np.minimum(np.maximum(end - live[0], np.pi - live[1]), until)
        product += (until - since) * np.cos(angle) - (np.sin(2 * until + angle) - np.sin(2 * since + angle)) / 2
    squares = live - np.sin(2 * live) / 2
    alike = product / np.sqrt(np.maximum(squares[0] * squares[1], 1e-12))
    steady = volts_mean[0] - volts_mean[1]
    return np.asarray(np.sqrt(np.maximum(0.0, one**2 + other**2 - 2 * one * other * alike) + steady**2))


def source_ohms(supply: Supply) -> float:
    """Source impedance of a supply as its nameplate suggests: usual regulation at the rated amps of the highest volts."""
    rated_amps = supply.plate_va / supply.max_volts
    return th.USUAL_REGULATION * supply.max_volts / rated_amps if rated_amps else float("inf")


def circulating_amps(difference: float, ohms_one: float, ohms_other: float, wire_ohms: float = 0.0) -> float:
    """RMS amps through a bridged gap: the difference over both source impedances and the wire (Ohm's law).

    Raises:
        ValueError: No impedance at all.
    """
    total = ohms_one + ohms_other + wire_ohms
    if not total > 0:
        raise ValueError("the impedances of the sources and the wire together must be above 0 ohms")
    return difference / total
