"""Time-current curves of protective devices: published ones, and those of a data sheet's points."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.protection import thresholds as th

Points = Sequence[tuple[float, float]]

THERMAL_POINTS: Points = ((1.35, 90.0), (2.0, 25.0), (3.0, 10.0), (6.0, 2.3))
"""Common practice, no published source; lies within the published limits: 135 % within an hour and 200 % within two minutes
(UL 489, UL 248-14), 2.55 times between 1 s and 60 s (IEC 60898-1 test c)."""
UNKNOWN_POINTS: Points = ((1.13, 60.0), (1.45, 15.0), (2.55, 2.0))
"""The most pessimistic plausible: a breaker that only just passes the tests of IEC 60898-1 (2.55 times: longer than 1 s)."""
SLOW_THERMAL_POINTS: Points = ((1.35, 3600.0), (2.0, 120.0))
"""The slowest that may be sold: 135 % within an hour, 200 % within two minutes (UL 489, UL 248-14)."""
FUSE_POINTS: Points = ((1.35, 21.0), (2.0, 0.87), (3.5, 0.2), (6.0, 0.055))
"""Geometric middles of the bands of blade fuses: 135 % 0.75-600 s, 200 % 0.15-5 s, 350 % 0.08-0.5 s, 600 % 0.03-0.1 s
(ISO 8820-3; the last three from memory)."""
QUICK_FUSE_POINTS: Points = ((1.35, 0.75), (2.0, 0.15), (3.5, 0.08), (6.0, 0.03))
"""The quick edges of the same bands."""
SLOW_FUSE_POINTS: Points = ((1.35, 3600.0), (2.0, 120.0), (2.75, 10.0), (4.0, 3.0), (10.0, 0.3))
"""The slowest that may be sold, time-lag cartridges: 135 % within an hour, 200 % within two minutes (UL 248-14); the rest IEC 60127-2
sheet 3, from memory."""
ELECTRONIC_POINTS: Points = ((1.1, 2.0), (2.0, 0.5), (4.0, 0.02))
"""Common practice, no published source."""
NEVER_S = math.inf
FAR = 5.0
"""So far, in the logarithm of amps, slopes are carried on: a factor of 150."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """How long a device takes, by what it draws.

    A thermal replica (IEC 60255-149, earlier 60255-8) follows heat' = ((I / hold)^2 - heat) / tau and opens at heat 1; its seconds
    are tau. An inverse-time device uses up dt / t(I) beyond its pick-up and recovers below it; its seconds are t.

    Attributes:
        hold_amps: It carries this for ever.
        log_amps: Natural logarithms of draws, rising.
        log_seconds: Of the seconds at each of them; straight lines between, level beyond both ends.
        is_replica: Thermal replica, or inverse time.
        log_pick_up: Half the way, in the logarithm, from what it is rated for to its first point; 0 for a replica.
    """

    hold_amps: float
    log_amps: tuple[float, ...]
    log_seconds: tuple[float, ...]
    is_replica: bool
    log_pick_up: float = 0.0


def replica(hold_amps: float, taus_s: Points) -> Curve:
    """A thermal replica.

    Args:
        hold_amps: k x IB, the current that brings heat to just 1.
        taus_s: Pairs of (amps, tau at those amps), rising in amps. Where points do not lie on one replica tau follows the draw, so
            that the cold curve meets each point.
    """
    logs = [math.log(tau) for _, tau in taus_s]
    if max(logs) - min(logs) < th.PLAIN_SPREAD:
        return Curve(hold_amps=hold_amps, log_amps=(0.0,), log_seconds=(sum(logs) / len(logs),), is_replica=True)
    return Curve(
        hold_amps=hold_amps, log_amps=tuple(math.log(amps) for amps, _ in taus_s), log_seconds=tuple(logs), is_replica=True
    )


def inverse_time(rated_amps: float, points: Points, *, steep: bool = False) -> Curve:
    """An inverse-time device through points, the last slope carried on.

    Args:
        rated_amps: It holds this for ever.
        points: Pairs of (multiple of rated_amps, seconds to open).
        steep: Carry the first slope on below the first point too; otherwise the time is that of the first point down to the pick-up.
    """
    amps = [math.log(multiple * rated_amps) for multiple, _ in points]
    seconds = [math.log(s) for _, s in points]
    if len(points) > 1:
        first = (seconds[1] - seconds[0]) / (amps[1] - amps[0])
        last = (seconds[-1] - seconds[-2]) / (amps[-1] - amps[-2])
        amps, seconds = [*amps, amps[-1] + FAR], [*seconds, seconds[-1] + last * FAR]
        if steep:
            amps, seconds = [amps[0] - FAR, *amps], [seconds[0] - first * FAR, *seconds]
    # Halfway (in proportion) between what it holds and its first point: no data sheet states where opening begins.
    log_pick_up = math.log(points[0][0]) / 2
    return Curve(
        hold_amps=rated_amps * math.exp(log_pick_up),
        log_amps=tuple(amps),
        log_seconds=tuple(seconds),
        is_replica=False,
        log_pick_up=log_pick_up,
    )


def fit_thermal(rated_amps: float, points: Points) -> Curve:
    """The replica that lies closest to points.

    The hold current is searched between rated_amps (it holds that for ever) and the lowest point, for taus that differ least.

    Args:
        rated_amps: Holds for ever.
        points: Pairs of (multiple of rated_amps, typical seconds to open), at least one.
    """
    squares = np.array([multiple**2 for multiple, _ in points])
    seconds = np.array([s for _, s in points])
    holds = np.linspace(1.0, squares[0] * 0.9995, 1500) if len(points) > 1 else np.array([min(1.2, (1 + squares[0]) / 2)])
    taus = seconds / np.log(squares / (squares - holds[:, None]))
    best = int(np.argmin(np.var(np.log(taus), axis=1)))
    pairs = [(multiple * rated_amps, float(tau)) for (multiple, _), tau in zip(points, taus[best], strict=True)]
    return replica(rated_amps * math.sqrt(holds[best]), pairs)
