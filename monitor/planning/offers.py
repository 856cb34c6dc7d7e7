"""A layout's own supplies, candidates of its plan file, and its districts, as offers and needs for sharing."""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence

from monitor.layout import District, Layout, Supply
from monitor.layout.ratings import output_current, output_volts, safe_amps, usable_va
from monitor.planning.bench_check import Fitness, check_all, check_candidate
from monitor.planning.plan_file import Candidate, Plan
from monitor.planning.planned_loads import PlannedLoad, planned_loads, rides_in_train
from monitor.planning.share_values import Need, Offer, OfferOutput

WANTED_VOLTS = {"track": 15.0, "accessories": 12.0}
"""Volts that are enough. Common practice, no published source: a supply a few volts lower just runs trains slower."""
MOST_ACCESSORY_VOLTS = 18.0
"""The most that accessories of any gauge are made for (NEM 611:2017: 14-18 V)."""
VOLTS_OVER = 0.1
"""How far above what a lamp is made for an output may go: common practice, no published source; its life shortens steeply beyond."""
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
    supply, output = layout.supply_named(district.supply), layout.output_named(district.supply, district.output)
    apart = [
        each
        for each in loads
        if (district.use == "track" and each.load.kind == "accessory" and not rides_in_train(each.load))
        or (district.use == "accessories" and plan.each_accessory)
    ]
    whole = [each for each in loads if each not in apart]
    at = (district.supply, district.output)
    gives = output_volts(output, supply)
    if whole or not apart:
        only_lamps = bool(whole) and all(each.load.kind == "lighting" for each in whole) and district.use == "accessories"
        yield Need(
            name=district.name,
            use=district.use,
            current=None if only_lamps else output_current(output, supply),
            amps=sum(each.load.running_amps for each in whole),
            volts=min(gives, WANTED_VOLTS[district.use]),
            likes_volts=HEAVY_VOLTS if any(_is_heavy(each) for each in whole) else 0.0,
            most_volts=_most_volts(whole, gives) if district.use == "accessories" else float("inf"),
            common=_common_of(plan, district),
            at=at,
        )
    for each in apart:
        yield Need(
            name=f"{each.load.name} ({district.name})",
            use="accessories",
            current=None if each.load.kind == "lighting" else output_current(output, supply),
            amps=each.load.running_amps,
            volts=min(gives, WANTED_VOLTS["accessories"]),
            most_volts=_most_volts([each], gives),
            at=at,
        )


def _most_volts(loads: Sequence[PlannedLoad], gives: float) -> float:
    """What an output without a throttle may give; where nobody said what the loads are made for, no more than today or than is usual."""
    known = [each.load.volts * (1 + VOLTS_OVER) for each in loads if each.load.volts is not None]
    return min(known) if known else max(gives, MOST_ACCESSORY_VOLTS)


def _is_heavy(planned: PlannedLoad) -> bool:
    return planned.load.kind == "locomotive" and planned.load.running_amps >= HEAVY_AMPS


def _common_of(plan: Plan, district: District) -> str:
    return next((common.name for common in plan.common if any(tap.district == district.name for tap in common.tap)), "")


def offers_of(
    layout: Layout, *, today: dt.date, plan: Plan | None = None, prices: Mapping[str, float] | None = None
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
    phased = {name: f"phased {k + 1}" for k, group in enumerate(plan.phased) for name in group}
    own = [
        Offer(
            name=supply.name,
            amps=safe_amps(supply),
            usable_va=usable_va(supply),
            outputs=_outputs(layout, supply),
            price=to_buy.get(supply.name, 0.0),
            phase_group=phased.get(supply.name, ""),
            refusal="" if verdict.is_fit else verdict.why,
        )
        for supply, verdict in zip(layout.supply, check_all(layout, plan, today=today), strict=True)
    ]
    return own + [offer for candidate in plan.candidate for offer in _candidates(candidate, layout, today)]


def _outputs(layout: Layout, supply: Supply) -> tuple[OfferOutput, ...]:
    made = tuple(
        OfferOutput(
            name=output.name,
            volts=output_volts(output, supply),
            current=output_current(output, supply),
            is_variable=output.control == "variable",
            own_amps=output.max_amps,
        )
        for output in layout.output
        if output.supply == supply.name
    )
    return made or (OfferOutput(name="1", volts=supply.max_volts, current=supply.current),)


def _candidates(candidate: Candidate, layout: Layout, today: dt.date) -> Iterator[Offer]:
    """Counted unless what the seller said forbids it; what is open stays to be looked at."""
    verdict = check_candidate(candidate, layout.mains, today=today)
    outputs = tuple(
        OfferOutput(name=f"{k + 1}", volts=candidate.max_volts, current=candidate.current, own_amps=candidate.output_amps)
        for k in range(candidate.outputs)
    )
    for k in range(candidate.count):
        yield Offer(
            name=candidate.name if candidate.count == 1 else f"{candidate.name} {k + 1}",
            amps=safe_amps(candidate.as_supply()),
            usable_va=usable_va(candidate.as_supply()),
            outputs=outputs,
            price=candidate.price,
            refusal=verdict.why if verdict.fitness > Fitness.NOT_JUDGED else "",
            candidate=candidate.name,
            to_check=tuple(question for _, question in verdict.open_questions),
        )
