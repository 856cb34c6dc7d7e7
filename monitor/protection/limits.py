"""What limits what: nameplate, winding, protection, outputs, feeders."""

from monitor.layout import District, Output, Supply
from monitor.layout.ratings import (
    INPUT_EFFICIENCY,
    TOY_LIMIT_AMPS,
    TOY_LIMIT_VA,
    TOY_LIMIT_VOLTS,
    ampacity_amps,
    usable_va,
    winding_amps,
)
from monitor.protection import thresholds as th
from monitor.values import Limit
from monitor.words.figures import percent
from monitor.words.sentences import say


def supply_limits(supply: Supply) -> tuple[Limit, ...]:
    """Every limit of a supply as a whole."""
    va, amps = usable_va(supply), winding_amps(supply)
    is_input = supply.rating_is == "input"
    derated = say("derated", share=percent(INPUT_EFFICIENCY), va=f"{supply.plate_va:g}") if is_input else ""
    total = say("limit-nameplate", where=supply.name, va=f"{va:.0f}", derated=derated)
    limits = [
        Limit(kind="nameplate", place=supply.name, amps=None, va=va, words=total),
        Limit(
            kind="winding",
            place=supply.name,
            amps=amps,
            va=None,
            words=say("limit-winding", where=supply.name, amps=f"{amps:.1f}"),
        ),
    ]
    protection = supply.protection
    if protection is not None and protection.kind != "none" and protection.rated_amps is not None:
        rated = protection.rated_amps
        words = say("limit-protection", where=supply.name, amps=f"{rated:.1f}")
        limits.append(Limit(kind="protection", place=supply.name, amps=rated, va=None, words=words))
    return tuple(limits)


def most_amps(supply: Supply) -> float:
    """The most that any limit of a supply allows."""
    return max(limit.amps for limit in supply_limits(supply) if limit.amps is not None)


def output_limit(output: Output) -> Limit | None:
    """An output's own limit, where it has one."""
    if output.max_amps is None:
        return None
    name = f"{output.supply}/{output.name}"
    words = say("limit-output", where=name, amps=f"{output.max_amps:.1f}")
    return Limit(kind="output", place=name, amps=output.max_amps, va=None, words=words)


def feeder_limit(district: District) -> Limit | None:
    """The ampacity of a district's feeder, where it is known."""
    if district.feeder is None:
        return None
    amps = ampacity_amps(district.feeder)
    words = say("limit-feeder", where=district.name, amps=f"{amps:.1f}")
    return Limit(kind="feeder", place=district.name, amps=amps, va=None, words=words)


def nameplate_notes(supply: Supply) -> tuple[str, ...]:
    """Where a nameplate exceeds what its kind allows, or leaves something open; one sentence each."""
    notes = []
    if usable_va(supply) > TOY_LIMIT_VA:
        notes.append(f"{supply.name}: {usable_va(supply):.0f} VA is more than the 200 VA a toy transformer may be rated for.")
    if winding_amps(supply) > TOY_LIMIT_AMPS + 1e-9:
        notes.append(f"{supply.name}: {winding_amps(supply):.1f} A is more than the 10 A a toy transformer may be rated for.")
    if supply.max_volts > TOY_LIMIT_VOLTS[supply.current]:
        most = TOY_LIMIT_VOLTS[supply.current]
        notes.append(f"{supply.name}: {supply.max_volts:g} V is more than the {most:g} V {supply.current} of toy transformers.")
    if winding_amps(supply) > th.CLASS_2_AMPS or usable_va(supply) > th.CLASS_2_VA:
        notes.append(f"{supply.name} is rated beyond a Class 2 supply (5 A, 100 VA): its wiring needs its own protection.")
    if supply.protection is None or supply.protection.kind == "unknown":
        notes.append(
            f"{supply.name}: the layout file does not say what protects it; the most pessimistic plausible protection is assumed."
        )
    elif supply.protection.kind == "none":
        notes.append(f"{supply.name} has no protection: nothing will switch an overload off but a person.")
    return tuple(notes)
