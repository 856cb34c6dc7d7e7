"""Protective devices as models: how heat gathers, and when they would open.

Heat is a share: at 1 a typical device of the kind opens.
"""

import math
from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
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
SLOW_FUSE_POINTS: Points = ((1.35, 600.0), (2.0, 5.0), (3.5, 0.5), (6.0, 0.1))
"""The edges of the same bands."""
ELECTRONIC_POINTS: Points = ((1.1, 2.0), (2.0, 0.5), (4.0, 0.02))
"""Common practice, no published source."""
NEVER_S = math.inf


class Device(Protocol):
    """A protective device.

    Attributes:
        hold_amps: The most that a typical one carries for ever.
        cooling_s: Time constant of cooling while it is open.
    """

    hold_amps: float
    cooling_s: float

    def step(self, heat: float, amps: float, seconds: float) -> float:
        """Heat after some seconds at a steady draw."""

    def steps(self, amps: Floats, seconds: float) -> tuple[Floats, Floats]:
        """The same of n draws that last so long each, as ``heat after = kept * heat before + gained``.

        Args:
            amps: Shape (n,).
            seconds: How long each lasts.

        Returns:
            Kept and gained, shape (n,) each.
        """

    def opens_in_s(self, heat: float, amps: float, opens_at: float = 1.0) -> float:
        """Seconds to the opening at a steady draw; infinite where it never opens, 0 where it should be open."""


class ThermalReplica:
    """First-order thermal replica: heat' = ((I / hold)^2 - heat) / tau (IEC 60255-149, earlier 60255-8).

    Where points do not lie on one replica, tau follows the current between them, so that the cold curve meets each point.

    Args:
        hold_amps: k x IB, the current that brings heat to just 1.
        taus_s: Pairs of (amps, tau at those amps), rising in amps; one pair for a plain replica.
    """

    def __init__(self, hold_amps: float, taus_s: Points) -> None:
        self.hold_amps = hold_amps
        self._log_amps = [math.log(amps) for amps, _ in taus_s]
        self._log_taus = [math.log(tau) for _, tau in taus_s]
        self._is_plain = max(self._log_taus) - min(self._log_taus) < 0.1
        self.cooling_s = math.exp(sum(self._log_taus) / len(self._log_taus))

    def tau_s(self, amps: float) -> float:
        """Time constant at a current."""
        if self._is_plain or amps <= 0:
            return self.cooling_s
        return math.exp(float(np.interp(math.log(amps), self._log_amps, self._log_taus)))

    def step(self, heat: float, amps: float, seconds: float) -> float:
        """Heat after some seconds at a steady draw."""
        end = (amps / self.hold_amps) ** 2
        return end + (heat - end) * math.exp(-seconds / self.tau_s(amps))

    def steps(self, amps: Floats, seconds: float) -> tuple[Floats, Floats]:
        """Each draw keeps exp(-seconds / tau) of the heat before it; the rest is where that draw ends."""
        kept = np.exp(-seconds / self._taus_s(amps))
        return kept, (amps / self.hold_amps) ** 2 * (1.0 - kept)

    def _taus_s(self, amps: Floats) -> Floats:
        if self._is_plain:
            return np.full(amps.shape, self.cooling_s)
        logs = np.log(amps, out=np.zeros(amps.shape), where=amps > 0)
        return np.where(amps > 0, np.exp(np.interp(logs, self._log_amps, self._log_taus)), self.cooling_s)

    def opens_in_s(self, heat: float, amps: float, opens_at: float = 1.0) -> float:
        """Hot curve of IEC 60255-149: t = tau ln((I^2 - Ip^2) / (I^2 - (k IB)^2)), with heat for (Ip / k IB)^2."""
        end = (amps / self.hold_amps) ** 2
        if heat >= opens_at:
            return 0.0
        return self.tau_s(amps) * math.log((end - heat) / (end - opens_at)) if end > opens_at else NEVER_S


class InverseTime:
    """A device of inverse time: beyond its pick-up each moment uses up dt / t(I); below it what was used recovers.

    Args:
        rated_amps: It holds this for ever.
        points: Pairs of (multiple of rated_amps, seconds to open).
        cooling_s: Time constant of the recovery.
    """

    def __init__(self, rated_amps: float, points: Points, cooling_s: float) -> None:
        self.cooling_s = cooling_s
        self._log_multiples = [math.log(multiple) for multiple, _ in points]
        self._log_seconds = [math.log(seconds) for _, seconds in points]
        self._rated_amps = rated_amps
        # Halfway (in proportion) between what it holds and its first point: nobody states where opening begins.
        self.hold_amps = rated_amps * math.sqrt(points[0][0])

    def cold_s(self, amps: float) -> float:
        """Seconds to open from cold: straight lines between points on logarithmic scales, the last slope carried on."""
        if amps <= self.hold_amps:
            return NEVER_S
        place = math.log(amps / self._rated_amps)
        logs, seconds = self._log_multiples, self._log_seconds
        if len(logs) > 1 and place > logs[-1]:
            slope = (seconds[-1] - seconds[-2]) / (logs[-1] - logs[-2])
            return math.exp(seconds[-1] + slope * (place - logs[-1]))
        return math.exp(float(np.interp(place, logs, seconds)))

    def step(self, heat: float, amps: float, seconds: float) -> float:
        """Heat after some seconds at a steady draw."""
        cold_s = self.cold_s(amps)
        return heat + seconds / cold_s if cold_s < NEVER_S else heat * math.exp(-seconds / self.cooling_s)

    def steps(self, amps: Floats, seconds: float) -> tuple[Floats, Floats]:
        """Beyond the pick-up all is kept and time used up is gained; below it the heat recovers."""
        over = amps > self.hold_amps
        used = np.array([seconds / self.cold_s(drawn) for drawn in amps[over].tolist()])
        kept = np.where(over, 1.0, math.exp(-seconds / self.cooling_s))
        gained = np.zeros(amps.shape)
        gained[over] = used
        return kept, gained

    def opens_in_s(self, heat: float, amps: float, opens_at: float = 1.0) -> float:
        """What is left of the cold time."""
        return max(0.0, opens_at - heat) * self.cold_s(amps)


def fit_thermal(rated_amps: float, points: Points) -> ThermalReplica:
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
    return ThermalReplica(rated_amps * math.sqrt(holds[best]), pairs)
