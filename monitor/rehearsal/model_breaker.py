"""The protection of a supply, step by step: heat of a thermal replica, a limiter's timer, a fuse that stays open."""

import math

from monitor.rehearsal.model_specs import BreakerSpec


class Breaker:
    """State of one protection.

    Attributes:
        heat: Share of tripping heat (IEC 60255-149: 1 trips).
        is_open: Whether it is open.
        closed_again: True in the step in which it closed again.
    """

    __slots__ = ("_open_s", "_over_s", "_spec", "closed_again", "heat", "is_open")

    def __init__(self, spec: BreakerSpec) -> None:
        self._spec = spec
        self.heat = 0.0
        self.is_open = False
        self.closed_again = False
        self._over_s = 0.0
        self._open_s = 0.0

    @property
    def hold_amps(self) -> float:
        """What it carries for ever."""
        return self._spec.rated_amps * self._spec.hold_ratio

    def step(self, amps_rms: float, dt_s: float) -> bool:
        """Move on by dt_s.

        Returns:
            True where it opens at the end of this step.
        """
        self.closed_again = False
        if self._spec.kind == "none":
            return False
        if self.is_open:
            self._wait(dt_s)
            return False
        if self._trips(amps_rms, dt_s):
            self.is_open = True
            self._open_s = 0.0
            self._over_s = 0.0
            return True
        return False

    def _trips(self, amps_rms: float, dt_s: float) -> bool:
        spec = self._spec
        if spec.instant_ratio is not None and amps_rms > spec.instant_ratio * spec.rated_amps:
            self._over_s += dt_s
        else:
            self._over_s = 0.0
        instant = spec.instant_ratio is not None and self._over_s >= spec.delay_s
        if spec.kind == "electronic":
            return instant
        goal = (amps_rms / self.hold_amps) ** 2
        self.heat = goal + (self.heat - goal) * math.exp(-dt_s / (spec.tau_s * spec.spread))
        return instant or self.heat >= 1.0

    def _wait(self, dt_s: float) -> None:
        spec = self._spec
        self._open_s += dt_s
        self.heat *= math.exp(-dt_s / (spec.tau_s * spec.spread * spec.cool_ratio))
        if spec.kind == "fuse":
            return
        by_time = spec.kind == "electronic" or spec.reset == "manual"
        ready = self._open_s >= spec.reset_after_s if by_time else self.heat <= spec.reset_heat and self._open_s > 1.0
        if ready:
            self.is_open = False
            self.closed_again = True


def typical_points(spec: BreakerSpec) -> list[tuple[float, float]]:
    """Data-sheet points (multiple of rated, seconds from cold) of the typical device: t = tau ln(m2 / (m2 - k2))."""
    points = []
    for multiple in (1.35, 2.0, 3.0, 6.0):
        square, hold = multiple**2, spec.hold_ratio**2
        if multiple > spec.hold_ratio * 1.02 and (spec.instant_ratio is None or multiple < spec.instant_ratio):
            points.append((multiple, spec.tau_s * math.log(square / (square - hold))))
    return points
