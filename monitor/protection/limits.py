"""What limits what: nameplate, winding, protection, outputs, feeders."""

import math

from monitor.layout import District, Feeder, Layout, Output, Supply
from monitor.protection.curves import (
    ELECTRONIC_POINTS,
    FUSE_POINTS,
    THERMAL_POINTS,
    UNKNOWN_POINTS,
    Device,
    InverseTime,
    fit_thermal,
)
from monitor.values import Limit

INPUT_PLATE_EFFICIENCY = 0.75
"""Usable share of a plate that rates the primary side; common practice, no published source."""
TOY_LIMIT_VA, TOY_LIMIT_AMPS = 200.0, 10.0
"""Most that a toy transformer may be rated for (IEC 61558-2-7, repeated in NEM 609:2010 section 6.1)."""
TOY_LIMIT_VOLTS = {"ac": 24.0, "dc": 33.0}
"""Highest rated output volts (IEC 61558-2-7)."""
CLASS_2_VA = 100.0
"""Nameplate limit of a Class 2 supply above 20 V; below, 5 A (NEC chapter 9, table 11(A))."""
AMPACITY = ((0.205, 2.0), (0.326, 3.0), (0.518, 5.0), (0.823, 7.0), (1.309, 10.0), (2.081, 15.0), (3.309, 20.0), (5.261, 30.0))
"""Copper cross-section in mm2 against amps: 18 to 10 AWG as NEC 240.4(D) protects small conductors (from memory), thinner
wire by common practice, no published source."""


def usable_va(supply: Supply) -> float:
    """What a supply gives for good, VA over all its outputs."""
    return supply.plate_va * (INPUT_PLATE_EFFICIENCY if supply.rating_is == "input" else 1.0)


def winding_amps(supply: Supply) -> float:
    """Copper heats with the current whatever the throttle: rated VA over the highest volts."""
    return usable_va(supply) / supply.max_volts


def supply_limits(supply: Supply) -> tuple[Limit, ...]:
    """Every limit of a supply as a whole."""
    va, amps = usable_va(supply), winding_amps(supply)
    derated = f", {INPUT_PLATE_EFFICIENCY:.0%} of its plate of {supply.plate_va:g}" if supply.rating_is == "input" else ""
    limits = [
        Limit(kind="nameplate", place=supply.name, amps=None, va=va, words=f"the {supply.name} total of {va:.0f} VA{derated}"),
        Limit(kind="winding", place=supply.name, amps=amps, va=None, words=f"the {supply.name} winding at {amps:.1f} A"),
    ]
    protection = supply.protection
    if protection is not None and protection.kind != "none" and protection.rated_amps is not None:
        rated = protection.rated_amps
        words = f"the {supply.name} protection rated {rated:g} A"
        limits.append(Limit(kind="protection", place=supply.name, amps=rated, va=None, words=words))
    return tuple(limits)


def output_limit(output: Output) -> Limit | None:
    """An output's own limit, where it has one."""
    if output.max_amps is None:
        return None
    name = f"{output.supply}/{output.name}"
    return Limit(kind="output", place=name, amps=output.max_amps, va=None, words=f"output {name} at {output.max_amps:g} A")


def feeder_limit(district: District) -> Limit | None:
    """The ampacity of a district's feeder, where it is known."""
    if district.feeder is None:
        return None
    amps = ampacity_amps(district.feeder)
    return Limit(kind="feeder", place=district.name, amps=amps, va=None, words=f"the feeder to {district.name} at {amps:.1f} A")


def ampacity_amps(feeder: Feeder) -> float:
    """What a wire carries: straight lines between the table's rows on logarithmic scales, the end slopes carried on."""
    # ASTM B258: the diameter of gauge n is 0.127 mm x 92^((36 - n) / 39).
    area = feeder.mm2 or math.pi / 4 * (0.127 * 92 ** ((36 - (feeder.awg or 0)) / 39)) ** 2
    rows = [(math.log(a), math.log(amps)) for a, amps in AMPACITY]
    place = math.log(area)
    first = next((k for k in range(len(rows) - 2) if place < rows[k + 1][0]), len(rows) - 2)
    (x0, y0), (x1, y1) = rows[first], rows[first + 1]
    return math.exp(y0 + (y1 - y0) / (x1 - x0) * (place - x0))


def nameplate_notes(supply: Supply) -> tuple[str, ...]:
    """Where a nameplate exceeds what its kind allows, or leaves something open; one sentence each."""
    notes = []
    if usable_va(supply) > TOY_LIMIT_VA:
        notes.append(f"{supply.name}: {usable_va(supply):.0f} VA is more than the 200 VA a toy transformer may be rated for.")
    if winding_amps(supply) > TOY_LIMIT_AMPS:
        notes.append(f"{supply.name}: {winding_amps(supply):.1f} A is more than the 10 A a toy transformer may be rated for.")
    if supply.max_volts > TOY_LIMIT_VOLTS[supply.current]:
        most = TOY_LIMIT_VOLTS[supply.current]
        notes.append(f"{supply.name}: {supply.max_volts:g} V is more than the {most:g} V {supply.current} of toy transformers.")
    if winding_amps(supply) > 5.0 or usable_va(supply) > CLASS_2_VA:
        notes.append(f"{supply.name} is rated beyond a Class 2 supply (5 A, 100 VA): its wiring needs its own protection.")
    if supply.protection is None or supply.protection.kind == "unknown":
        notes.append(f"{supply.name}: nobody has said what protects it; the most pessimistic plausible breaker is assumed.")
    elif supply.protection.kind == "none":
        notes.append(f"{supply.name} has no protection: nothing will switch an overload off but a person.")
    return tuple(notes)


def device_of(supply: Supply) -> Device | None:
    """The model of what protects a supply; None where nothing does."""
    protection = supply.protection
    if protection is None or protection.kind == "unknown":
        rated = (protection.rated_amps if protection is not None else None) or winding_amps(supply)
        return fit_thermal(rated, (protection.points if protection is not None else ()) or UNKNOWN_POINTS)
    if protection.kind == "none":
        return None
    rated = protection.rated_amps or winding_amps(supply)
    if protection.kind == "thermal":
        return fit_thermal(rated, protection.points or THERMAL_POINTS)
    if protection.kind == "fuse":
        return InverseTime(rated, protection.points or FUSE_POINTS, cooling_s=20.0)
    return InverseTime(rated, protection.points or ELECTRONIC_POINTS, cooling_s=1.0)


def closes_by_itself(layout: Layout, supply: str) -> bool:
    """True where the layout file says, or its kind suggests, that the protection comes back alone."""
    protection = layout.supply_named(supply).protection
    if protection is None or protection.reset == "manual" or protection.kind == "fuse":
        return False
    return protection.reset == "auto" or protection.kind in ("thermal", "electronic")
