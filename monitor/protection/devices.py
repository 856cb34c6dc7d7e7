"""What protects a supply, as models: the likely one of its kind, a quick one and a slow one."""

from dataclasses import dataclass

from monitor.layout import Protection, Supply
from monitor.layout.ratings import winding_amps
from monitor.protection.curves import (
    ELECTRONIC_POINTS,
    FUSE_POINTS,
    QUICK_FUSE_POINTS,
    SLOW_FUSE_POINTS,
    SLOW_THERMAL_POINTS,
    THERMAL_POINTS,
    UNKNOWN_POINTS,
    Device,
    InverseTime,
    Points,
    fit_thermal,
)

QUICK, SLOW = 0.75, 1.25
"""Real breakers open up to a quarter sooner or later than the curve of their data sheet: common practice."""
FUSE_COOLING_S, LIMITER_COOLING_S = 20.0, 1.0
"""Common practice, no published source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Devices:
    """One protection between its tolerances.

    Attributes:
        likely: A typical one.
        quick: One that opens early.
        slow: One that opens late.
    """

    likely: Device
    quick: Device
    slow: Device


def devices_of(supply: Supply) -> Devices | None:
    """The models of what protects a supply; None where nothing does.

    Points of the layout file are taken for a data sheet's: a quarter either way. Without points the band is as wide as what is
    published for the kind. What nobody knows is taken for the most pessimistic plausible.
    """
    protection = supply.protection
    if protection is not None and protection.kind == "none":
        return None
    kind = protection.kind if protection is not None else "unknown"
    rated = (protection.rated_amps if protection is not None else None) or winding_amps(supply)
    points = protection.points if protection is not None else ()
    likely, quick, slow = (points, _at(QUICK, points), _at(SLOW, points)) if points else _published(kind)
    return Devices(likely=_model(kind, rated, likely), quick=_model(kind, rated, quick), slow=_model(kind, rated, slow))


def closes_by_itself(protection: Protection | None) -> bool:
    """True where the layout file says, or its kind suggests, that the protection comes back alone."""
    if protection is None or protection.reset == "manual" or protection.kind == "fuse":
        return False
    return protection.reset == "auto" or protection.kind in ("thermal", "electronic")


def _published(kind: str) -> tuple[Points, Points, Points]:
    if kind == "thermal":
        return THERMAL_POINTS, UNKNOWN_POINTS, SLOW_THERMAL_POINTS
    if kind == "fuse":
        return FUSE_POINTS, QUICK_FUSE_POINTS, SLOW_FUSE_POINTS
    if kind == "electronic":
        return ELECTRONIC_POINTS, _at(QUICK, ELECTRONIC_POINTS), _at(SLOW, ELECTRONIC_POINTS)
    return UNKNOWN_POINTS, UNKNOWN_POINTS, SLOW_THERMAL_POINTS


def _model(kind: str, rated_amps: float, points: Points) -> Device:
    if kind in ("fuse", "electronic"):
        return InverseTime(rated_amps, points, FUSE_COOLING_S if kind == "fuse" else LIMITER_COOLING_S)
    return fit_thermal(rated_amps, points)


def _at(share: float, points: Points) -> Points:
    return tuple((multiple, share * seconds) for multiple, seconds in points)
