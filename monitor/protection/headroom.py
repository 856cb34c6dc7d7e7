"""What is left: per supply, output and district, and which limit binds."""

import math
from typing import TYPE_CHECKING

from monitor.protection import words
from monitor.protection.devices import closes_by_itself
from monitor.protection.limits import feeder_limit, output_limit
from monitor.values import Headroom, Limit, PlaceLoad, SupplyLoad

if TYPE_CHECKING:
    from monitor.protection.supply_judge import SupplyJudge

Carried = tuple[Limit, float, float]
"""A limit with the amps and VA that it carries."""


def headroom(carried: list[Carried], volts: float | None) -> Headroom:
    """What is left before the first of some limits.

    Args:
        carried: Each limit with the amps and VA that flow under it.
        volts: Present volts, to turn VA into amps and back; None where there are none.
    """
    if not carried:
        return Headroom()
    shares = [amps / limit.amps if limit.amps is not None else va / (limit.va or math.inf) for limit, amps, va in carried]
    lefts = [_left_amps(limit, amps, va, volts) for limit, amps, va in carried]
    least = min(range(len(lefts)), key=lefts.__getitem__)
    finite = math.isfinite(lefts[least])
    return Headroom(
        share=shares[least],
        binding=carried[least][0],
        amps_left=lefts[least] if finite else None,
        va_left=lefts[least] * volts if finite and volts else None,
    )


def _left_amps(limit: Limit, amps: float, va: float, volts: float | None) -> float:
    if limit.amps is not None:
        return limit.amps - amps
    return ((limit.va or 0.0) - va) / volts if volts else math.inf


def supply_load(judge: "SupplyJudge") -> SupplyLoad:
    """A supply with its outputs and districts as they stand."""
    amps = {
        name: math.sqrt(square) for name, square in zip(judge.districts, judge.smooth[0].tolist(), strict=True) if square >= 0
    }
    va = {name: power for name, power in zip(judge.districts, judge.smooth[1].tolist(), strict=True) if power >= 0}
    total_amps, total_va = (sum(amps.values()), sum(va.values())) if amps else (None, None)
    carried: list[Carried] = [(limit, total_amps or 0.0, total_va or 0.0) for limit in judge.limits]
    heat = judge.heat
    is_open = heat is not None and heat.open_since_s is not None
    return SupplyLoad(
        name=judge.name,
        at_s=judge.at_s,
        amps=total_amps,
        va=total_va,
        headroom=headroom(carried, total_va / total_amps if total_va and total_amps else None),
        limits=judge.limits,
        heat=None if heat is None or math.isnan(heat.likely) else heat.likely,
        heat_lowest=None if heat is None else heat.lowest,
        heat_highest=None if heat is None else heat.highest,
        forecast=judge.forecast,
        is_open=is_open,
        open_since_s=heat.open_since_s if heat is not None else None,
        reset_in_s=heat.reset_in_s() if heat is not None and is_open and closes_by_itself(judge.supply.protection) else None,
        outputs=_outputs(judge, amps, va, carried),
        districts=_districts(judge, amps, va, carried),
    )


def _outputs(
    judge: "SupplyJudge", amps: dict[str, float], va: dict[str, float], upstream: list[Carried]
) -> tuple[PlaceLoad, ...]:
    found = []
    for output in judge.layout.output:
        if output.supply != judge.name:
            continue
        names = [d.name for d in judge.layout.districts_of_supply(judge.name) if d.output == output.name]
        drawn, power = sum(amps.get(name, 0.0) for name in names), sum(va.get(name, 0.0) for name in names)
        limit = output_limit(output)
        carried = [*upstream, *([(limit, drawn, power)] if limit is not None else [])]
        known = any(name in amps for name in names)
        found.append(
            PlaceLoad(
                name=f"{judge.name}/{output.name}",
                amps=drawn if known else None,
                va=power if known else None,
                headroom=headroom(carried, power / drawn if drawn else None),
            )
        )
    return tuple(found)


def _districts(
    judge: "SupplyJudge", amps: dict[str, float], va: dict[str, float], upstream: list[Carried]
) -> tuple[PlaceLoad, ...]:
    found = []
    districts = judge.layout.districts_of_supply(judge.name)
    limits = {output.name: output_limit(output) for output in judge.layout.output if output.supply == judge.name}
    for district in districts:
        drawn, power = amps.get(district.name, 0.0), va.get(district.name, 0.0)
        carried = list(upstream)
        limit = limits.get(district.output)
        if limit is not None:
            beside = [d.name for d in districts if d.output == district.output]
            carried.append((limit, sum(amps.get(n, 0.0) for n in beside), sum(va.get(n, 0.0) for n in beside)))
        feeder = feeder_limit(district)
        if feeder is not None:
            carried.append((feeder, drawn, power))
        left = headroom(carried, power / drawn if drawn else None)
        if left.amps_left is not None:
            sentence = words.fits(judge.layout, district, left.amps_left, left.binding)
            left = Headroom(
                share=left.share, binding=left.binding, amps_left=left.amps_left, va_left=left.va_left, sentence=sentence
            )
        known = district.name in amps
        found.append(PlaceLoad(name=district.name, amps=drawn if known else None, va=power if known else None, headroom=left))
    return tuple(found)
