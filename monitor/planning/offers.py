"""A layout's own supplies, candidates of its plan file, and its districts, as offers and needs for sharing."""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence

from monitor.layout import District, Layout, Supply
from monitor.layout.ratings import usable_va, winding_amps
from monitor.planning.bench_check import check_all
from monitor.planning.plan_file import Candidate, Plan
from monitor.planning.planned_loads import PlannedLoad, planned_loads
from monitor.planning.sharing import Need, Offer

WANTED_VOLTS = {"track": 15.0, "accessories": 12.0}
"""Volts that are enough. Common practice, no published source: a supply a few volts lower just runs trains slower."""
HEAVY_VOLTS, HEAVY_AMPS = 19.0, 3.0
"""What a heavy twin-motor train likes, and from which draw on an engine is taken for one. Common practice, no published source."""


def needs_of(layout: Layout, plan: Plan | None = None) -> list[Need]:
    """What has to be placed, with everything running; the start of one load is left to the reserve.

    Each district is one need. Accessories that the layout file has on a track district are needs of their own, since they can be wired
    to any supply; where the plan file says ``each_accessory``, so is every load of an accessories district.
    """
    plan = plan or Plan()
    loads = planned_loads(layout, plan)
    return [
        need
        for d in layout.district
        for need in _needs(layout, d, [each for each in loads if each.load.district == d.name], plan)
    ]


def _needs(layout: Layout, district: District, loads: Sequence[PlannedLoad], plan: Plan) -> Iterator[Need]:
    apart = [
        each
        for each in loads
        if (district.use == "track" and each.load.kind == "accessory") or (district.use == "accessories" and plan.each_accessory)
    ]
    whole = [each for each in loads if each not in apart]
    supply = layout.supply_named(district.supply)
    if whole or not apart:
        yield _need(supply, district, whole, _common_of(plan, district))
    for each in apart:
        volts = min(supply.max_volts, WANTED_VOLTS["accessories"])
        name = f"{each.load.name} ({district.name})"
        current = None if each.load.kind == "lighting" else supply.current
        yield Need(name=name, use="accessories", current=current, amps=each.load.running_amps, volts=volts)


def _need(supply: Supply, district: District, loads: Sequence[PlannedLoad], common: str) -> Need:
    only_lamps = bool(loads) and all(each.load.kind == "lighting" for each in loads) and district.use == "accessories"
    return Need(
        name=district.name,
        use=district.use,
        current=None if only_lamps else supply.current,
        amps=sum(each.load.running_amps for each in loads),
        volts=min(supply.max_volts, WANTED_VOLTS[district.use]),
        likes_volts=HEAVY_VOLTS if any(_is_heavy(each) for each in loads) else 0.0,
        common=common,
    )


def _is_heavy(planned: PlannedLoad) -> bool:
    return planned.load.kind == "locomotive" and planned.load.running_amps >= HEAVY_AMPS


def _common_of(plan: Plan, district: District) -> str:
    return next((common.name for common in plan.common if any(tap.district == district.name for tap in common.tap)), "")


def offers_of(
    layout: Layout,
    *,
    today: dt.date,
    plan: Plan | None = None,
    prices: Mapping[str, float] | None = None,
) -> list[Offer]:
    """Every supply of the layout and every candidate as an offer; those that the bench check did not find fit get no load.

    Args:
        layout: The layout.
        today: For the bench check.
        plan: The plan file.
        prices: Price of further supplies that would have to be bought; a supply without one is on hand.
    """
    plan = plan or Plan()
    to_buy = {**plan.prices, **(prices or {})}
    verdicts = {verdict.supply: verdict for verdict in check_all(layout, plan, today=today)}
    phased = {name: f"phased {k + 1}" for k, group in enumerate(plan.phased) for name in group}
    own = [
        _offer(layout, supply, phased.get(supply.name, ""), (verdicts[supply.name].is_fit, to_buy.get(supply.name, 0.0)))
        for supply in layout.supply
    ]
    return own + [offer for candidate in plan.candidate for offer in _candidates(candidate)]


def _offer(layout: Layout, supply: Supply, phase_group: str, terms: tuple[bool, float]) -> Offer:
    outputs = [output for output in layout.output if output.supply == supply.name]
    amps = winding_amps(supply)
    fit, price = terms
    return Offer(
        name=supply.name,
        current=supply.current,
        usable_va=usable_va(supply),
        max_volts=supply.max_volts,
        output_amps=tuple(output.max_amps or amps for output in outputs) or (amps,),
        winding_amps=amps,
        fixed_outputs=frozenset(o for o, output in enumerate(outputs) if output.control == "constant"),
        price=price,
        phase_group=phase_group,
        fit=fit,
    )


def _candidates(candidate: Candidate) -> Iterator[Offer]:
    supply = Supply(
        name=candidate.name,
        current=candidate.current,
        max_volts=candidate.max_volts,
        rated_va=candidate.rated_va,
        rated_watts=candidate.rated_watts,
        rating_is=candidate.rating_is,
    )
    amps = winding_amps(supply)
    for k in range(candidate.count):
        yield Offer(
            name=candidate.name if candidate.count == 1 else f"{candidate.name} {k + 1}",
            current=candidate.current,
            usable_va=usable_va(supply),
            max_volts=candidate.max_volts,
            output_amps=(candidate.output_amps or amps,) * candidate.outputs,
            winding_amps=amps,
            price=candidate.price,
        )
