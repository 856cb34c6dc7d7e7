"""What protects a supply, as many devices side by side: a typical one, a quick one, and a sample of all that it may be."""

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from monitor.layout import Protection, Supply
from monitor.layout.ratings import winding_amps
from monitor.protection import thresholds as th
from monitor.protection.curves import (
    ELECTRONIC_POINTS,
    FUSE_POINTS,
    NEVER_S,
    QUICK_FUSE_POINTS,
    SLOW_FUSE_POINTS,
    SLOW_THERMAL_POINTS,
    THERMAL_POINTS,
    UNKNOWN_POINTS,
    Curve,
    Points,
    fit_thermal,
    inverse_time,
)
from monitor.protection.ticks import TICK_S
from monitor.values.arrays import Floats

TYPICAL, LOWEST, HIGHEST, QUICKER = range(4)
"""The first devices: the typical one as it most likely is, and with the least and the most heat that it may hold; a quick one."""
FIRST = 4
"""Behind these comes the sample."""
SAMPLE = 128
"""Devices in the sample: one in forty, the end of an interval, is still three of them."""
GOLDEN = 1.1347241384015194
"""Root of x^6 = x + 1: its powers give the additive recurrence that fills five dimensions most evenly (R sequence)."""


@dataclass(frozen=True, kw_only=True)  # without slots, for what is worked out once
class Devices:
    """Some devices of one kind; m of them.

    Attributes:
        hold_amps: Shape (m,): the most that each carries for ever.
        cooling_s: Shape (m,): time constant of cooling while it is open.
        curves: What is known of the kind: one curve or several to lie between.
        mix: Shape (curves, m): how much each device is like each curve; columns add up to 1.
        log_hold: Shape (m,): logarithm of how much more than its curve each holds.
        log_time: Shape (m,): logarithm of how much longer than its curve each takes.
        has_points: True where the curve is its data sheet's.
    """

    hold_amps: Floats
    cooling_s: Floats
    curves: tuple[Curve, ...]
    mix: Floats
    log_hold: Floats
    log_time: Floats
    has_points: bool

    @property
    def is_replica(self) -> bool:
        """Thermal replicas, or devices of inverse time."""
        return self.curves[0].is_replica

    def only(self, number: int) -> "Devices":
        """One of them alone."""
        one = slice(number, number + 1)
        return replace(
            self,
            hold_amps=self.hold_amps[one],
            cooling_s=self.cooling_s[one],
            mix=self.mix[:, one],
            log_hold=self.log_hold[one],
            log_time=self.log_time[one],
        )

    def seconds(self, amps: Floats) -> Floats:
        """Time constants (thermal replicas) or cold times at n draws, shape (n, m)."""
        log_amps = np.log(np.maximum(amps, 1e-9))[:, None] - self.log_hold
        total = np.zeros(log_amps.shape) + self.log_time
        for curve, share in zip(self.curves, self.mix, strict=True):
            # Below the first bend all devices have one time constant: nothing to look up where little is drawn.
            is_level = len(curve.log_amps) == 1 or (curve.is_replica and log_amps.max(initial=-math.inf) <= curve.log_amps[0])
            total += share * (curve.log_seconds[0] if is_level else np.interp(log_amps, curve.log_amps, curve.log_seconds))
        return np.exp(total)

    def steps(self, amps: Floats, scale: Floats) -> tuple[Floats, Floats]:
        """What n draws of a tick each do to heat: ``after = kept * before + gained``.

        Args:
            amps: Shape (n,).
            scale: Shape (m,): what heat is to be divided by so that each opens at 1.

        Returns:
            Kept and gained, shape (n, m) each.
        """
        if self.is_replica:
            kept = self._level_kept if amps.max(initial=0.0) <= self._level_amps else np.exp(-TICK_S / self.seconds(amps))
            gained = amps[:, None] ** 2 * ((1.0 - kept) / (self.hold_amps**2 * scale))
            return kept if len(kept) == len(amps) else np.broadcast_to(kept, gained.shape), gained
        drawn = np.flatnonzero(amps > self.hold_amps.min())
        gained = np.zeros((len(amps), len(self.hold_amps)))
        if not len(drawn):
            return np.broadcast_to(self.recovered, gained.shape), gained
        over = amps[:, None] > self.hold_amps
        gained[drawn] = np.where(over[drawn], TICK_S / (self.seconds(amps[drawn]) * scale), 0.0)
        return np.where(over, 1.0, self.recovered), gained

    @cached_property
    def recovered(self) -> Floats:
        """What a tick without a draw leaves of the heat, shape (m,)."""
        return np.exp(-TICK_S / self.cooling_s)

    @cached_property
    def _level_amps(self) -> float:
        """Up to here no device's time constant depends on the draw."""
        firsts = [math.inf if len(curve.log_amps) == 1 else math.exp(curve.log_amps[0]) for curve in self.curves]
        return min(firsts) * math.exp(float(self.log_hold.min()))

    @cached_property
    def _level_kept(self) -> Floats:
        """What a tick leaves of the heat of thermal replicas up to there, shape (1, m)."""
        return np.exp(-TICK_S / self.seconds(np.zeros(1)))

    def open_in_s(self, heats: Floats, amps: float, scale: Floats) -> Floats:
        """Seconds to the opening at a steady draw; infinite where one never opens, 0 where it should be open.

        Hot curve of IEC 60255-149, t = tau ln((I^2 - Ip^2) / (I^2 - (k IB)^2)) with heat for (Ip / k IB)^2; or what is left of the
        cold time.

        Args:
            heats: Shape (m,).
            amps: The draw.
            scale: Shape (m,): what heat is to be divided by so that each opens at 1.
        """
        seconds = self.seconds(np.array([amps]))[0]
        if not self.is_replica:
            return np.where(
                amps > self.hold_amps, np.maximum(0.0, 1.0 - heats) * seconds * scale, np.where(heats >= 1, 0.0, NEVER_S)
            )
        end = (amps / self.hold_amps) ** 2 / scale
        opens = end > 1.0
        left = seconds * np.log(np.where(opens, (end - np.minimum(heats, 1.0)) / np.where(opens, end - 1.0, 1.0), 1.0))
        return np.where(heats >= 1.0, 0.0, np.where(opens, left, NEVER_S))


def devices_of(supply: Supply) -> Devices | None:
    """The devices that may protect a supply; None where nothing does.

    Points of the layout file are taken for a data sheet's: a quarter either way in time, a tenth in what it holds. Without points
    the sample is as wide as what is published for the kind. What is not known is taken for the most pessimistic plausible.
    """
    protection = supply.protection
    if protection is not None and protection.kind == "none":
        return None
    kind = protection.kind if protection is not None else "unknown"
    rated = (protection.rated_amps if protection is not None else None) or winding_amps(supply)
    points = protection.points if protection is not None else ()
    is_counting = kind in ("fuse", "electronic")
    spread = _spread(room=th.COUNTING_ROOM_SPREAD if is_counting else th.THERMAL_ROOM_SPREAD)
    if not points and kind != "electronic":
        return _between_edges(kind, rated, spread)
    rare = np.where(np.arange(FIRST + SAMPLE) % th.RARE_EVERY == FIRST, th.RARE_TIMES, 1.0)
    log_time = (th.TIME_SPREAD * rare if points else th.UNPROVEN_SPREAD) * spread.time
    log_time[QUICKER] = math.log(th.QUICK)
    log_hold = rare * (th.HOLD_SPREAD * spread.hold + spread.room)
    log_hold[QUICKER] = 0.0
    if is_counting:
        # No data sheet states how long it takes below its first point: as long as there, or longer by the slope between the first two.
        typical = points or ELECTRONIC_POINTS
        curves: tuple[Curve, ...] = inverse_time(rated, typical), inverse_time(rated, typical, steep=True)
        steep = np.where(np.arange(len(log_time)) < FIRST, 0.0, (1 + spread.shape) / 2)
        mix = np.stack([1 - steep, steep])
    else:
        curves, mix = (fit_thermal(rated, points),), np.ones((1, len(log_time)))
    log_holds = math.log(curves[0].hold_amps) + log_hold
    devices = _assembled(kind, curves, mix, log_holds, spread, log_time)
    return replace(devices, log_hold=log_hold, has_points=bool(points))


def _between_edges(kind: str, rated_amps: float, spread: "_DeviceSpread") -> Devices:
    """Between the quickest and the slowest that may be sold."""
    make = inverse_time if kind == "fuse" else fit_thermal
    curves = tuple(make(rated_amps, points) for points in _published(kind))
    log_holds = np.log([curve.hold_amps for curve in curves]) @ _between(spread.hold) + spread.room
    return _assembled(kind, curves, _between(spread.time), log_holds, spread, np.zeros(len(spread.time)))


def _assembled(
    kind: str, curves: tuple[Curve, ...], mix: Floats, log_holds: Floats, spread: "_DeviceSpread", log_time: Floats
) -> Devices:
    if curves[0].is_replica:
        coolings = np.array([np.mean(curve.log_seconds) for curve in curves]) @ mix + log_time
        # One that opens quickly need not cool quickly.
        coolings[QUICKER] = coolings[TYPICAL]
    else:
        # No data sheet states where between what it holds and its first point opening begins.
        log_holds = log_holds + th.PICK_UP_SPREAD * spread.shape * curves[0].log_pick_up
        coolings = np.full(len(log_time), math.log(th.FUSE_COOLING_S if kind == "fuse" else th.LIMITER_COOLING_S))
    return Devices(
        hold_amps=np.exp(log_holds),
        cooling_s=np.exp(coolings + th.COOLING_SPREAD * spread.cooling),
        curves=curves,
        mix=mix,
        log_hold=np.zeros(len(log_time)),
        log_time=log_time,
        has_points=False,
    )


def single(curve: Curve, cooling_s: float = th.FUSE_COOLING_S) -> Devices:
    """One device that is just as its curve says."""
    hold_amps, none = np.array([curve.hold_amps]), np.zeros(1)
    cooling = np.exp([np.mean(curve.log_seconds)]) if curve.is_replica else np.array([cooling_s])
    return Devices(
        hold_amps=hold_amps,
        cooling_s=cooling,
        curves=(curve,),
        mix=np.ones((1, 1)),
        log_hold=none,
        log_time=none,
        has_points=True,
    )


def closes_by_itself(protection: Protection | None) -> bool:
    """True where the layout file says, or its kind suggests, that the protection comes back alone."""
    if protection is None or protection.reset == "manual" or protection.kind == "fuse":
        return False
    return protection.reset == "auto" or protection.kind in ("thermal", "electronic")


@dataclass(frozen=True, slots=True, kw_only=True)
class _DeviceSpread:
    """Where each device lies between -1 and 1, and what its room does to the logarithm of its hold; shape (m,) each."""

    time: Floats
    hold: Floats
    shape: Floats
    cooling: Floats
    room: Floats


def _spread(room: float) -> _DeviceSpread:
    """Evenly over the sample; the typical ones in the middle, the quick one at the quick end."""
    sample = [[2.0 * ((0.5 + number / GOLDEN**power) % 1.0) - 1.0 for power in range(1, 6)] for number in range(SAMPLE)]
    time, hold, warmth, shape, cooling = np.concatenate([np.zeros((FIRST, 5)), sample]).T
    time[QUICKER] = hold[QUICKER] = -1.0
    return _DeviceSpread(time=time, hold=hold, shape=shape, cooling=cooling, room=room * warmth)


def _between(place: Floats) -> Floats:
    """Shape (3, m): shares of the quickest, the likely and the slowest at places from -1 to 1."""
    return np.stack([np.maximum(0.0, -place), 1.0 - np.abs(place), np.maximum(0.0, place)])


def _published(kind: str) -> tuple[Points, Points, Points]:
    """Quickest, likely and slowest."""
    if kind == "thermal":
        return UNKNOWN_POINTS, THERMAL_POINTS, SLOW_THERMAL_POINTS
    if kind == "fuse":
        return QUICK_FUSE_POINTS, FUSE_POINTS, SLOW_FUSE_POINTS
    return UNKNOWN_POINTS, UNKNOWN_POINTS, SLOW_THERMAL_POINTS
