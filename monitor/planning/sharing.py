"""Sharing the load: which district and which accessory on which output, under every limit.

As little as possible is left out; then the plan costs as little as possible; then what is where it is today stays there; then track and
accessories keep apart. One rule of reserve holds for all limits, the budget's own: amps with everything running, against what winding,
protection and output stand for long. A nameplate's total is never counted for one output alone.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from monitor.errors import LayoutError
from monitor.planning.share_model import Found, Place, ShareModel, Task
from monitor.planning.share_values import Need, Offer, ShareOptions, SharePlan

NEEDS_LIMIT, OFFERS_LIMIT = 200, 60
MOVE, MIX, ONE_MORE_SUPPLY, ON_A_THROTTLE = 10.0, 4.0, 1.0, 0.1
"""What the choice among equally cheap plans weighs: nothing moves for tidiness alone."""
NICETY_SHARE = 0.02
"""Of the work, for what proves nothing: the tidiest of equally cheap plans, the smallest of larger ratings."""
LEAVE_OUT_AMPS = 1000.0
"""Among those: of what is left out, the smaller draw."""


def share_load(needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions | None = None) -> SharePlan:
    """The plan that leaves out least and then costs least.

    Raises:
        LayoutError: More needs or offers than can be weighed, a negative figure, or a reserve outside 0-0.9.
    """
    options = options or ShareOptions()
    task = _task(needs, offers, options)
    fullest = _fullest(task)
    cheapest = _cheapest(task, fullest)
    tidy = _tidiest(task, cheapest)
    plan = _plan(task, tidy, proven=fullest.status == "proven" and cheapest.status == "proven")
    return plan if plan.fits else _stretched(task, plan)


def alternatives(
    needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions | None = None, most: int = 3
) -> list[SharePlan]:
    """Plans that use other sets of supplies: the cheapest of all, then others ranked by price per usable volt-ampere."""
    task = _task(needs, offers, options or ShareOptions())
    plans: list[SharePlan] = []
    barred: list[frozenset[int]] = []
    while len(plans) < most:
        model = ShareModel(task)
        _place_all_at_least_price(model, task)
        for used in barred:
            model.row({model.bought[s]: 1.0 for s in used}, most=len(used) - 1.0)
        found = model.solved()
        if found.status in ("impossible", "unknown"):
            break
        plans.append(_plan(task, found.places, proven=found.status == "proven"))
        barred.append(frozenset(s for s, _ in found.places.values()))
        if not barred[-1]:
            break
    return [*plans[:1], *sorted(plans[1:], key=lambda plan: (plan.price_per_va, plan.price))]


def by_price_per_va(offers: Sequence[Offer]) -> list[tuple[Offer, float]]:
    """Offers to buy with their price per usable VA, cheapest first."""
    priced = [(offer, offer.price / offer.usable_va) for offer in offers if offer.price > 0 and offer.usable_va > 0]
    return sorted(priced, key=lambda pair: pair[1])


def _task(needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions) -> Task:
    if len(needs) > NEEDS_LIMIT or len(offers) > OFFERS_LIMIT:
        raise LayoutError(f"at most {NEEDS_LIMIT} loads and {OFFERS_LIMIT} supplies can be weighed at once: split the layout")
    if not 0 <= options.reserve <= 0.9:
        raise LayoutError("the reserve is a share of every limit: give a figure from 0 to 0.9", key="reserve")
    for need in needs:
        if need.amps < 0 or need.volts < 0:
            raise LayoutError("amps and volts cannot be negative: correct them", table=f'load "{need.name}"')
    limit = math.inf if options.spending_limit is None else options.spending_limit
    fit = [offer for offer in offers if not offer.refusal]
    return Task(needs=needs, offers=fit, reserve=options.reserve, work=options.work, spending_limit=limit)


def _fullest(task: Task) -> Found:
    """Leaves out as few needs as possible; nothing at all is always a solution to begin with."""
    model = ShareModel(task)
    for column in model.left:
        model.cost(column, 1.0)
    return model.solved(start={})


def _cheapest(task: Task, fullest: Found) -> Found:
    if not any(offer.price for offer in task.offers):
        return fullest
    model = ShareModel(task)
    model.row(dict.fromkeys(model.left, 1.0), most=float(len(task.needs) - len(fullest.places)))
    for column, offer in zip(model.bought, task.offers, strict=True):
        model.cost(column, offer.price)
    return model.solved(start=fullest.places)


def _tidiest(task: Task, cheapest: Found) -> dict[int, Place]:
    """Of the plans that leave out and cost no more, one that moves least; the one in hand where the work runs out."""
    model = ShareModel(_with_less_work(task), by_place=True)
    model.row(dict.fromkeys(model.left, 1.0), most=float(len(task.needs) - len(cheapest.places)))
    price = sum(task.offers[s].price for s in {s for s, _ in cheapest.places.values()})
    model.row({column: offer.price for column, offer in zip(model.bought, task.offers, strict=True)}, most=price * (1 + 1e-9))
    for g, column in enumerate(model.left):
        model.cost(column, LEAVE_OUT_AMPS * task.needs[model.groups[g][0]].amps)
    for s, column in enumerate(model.bought):
        model.cost(column, ONE_MORE_SUPPLY)
        model.cost(model.mixed_column(s), MIX)
    for (g, b), column in model.placed.items():
        model.cost(column, _upheaval(task, task.needs[model.groups[g][0]], model.bins[b].offer, model.bins[b].outputs))
    found = model.solved(start=cheapest.places)
    return found.places if found.status in ("proven", "found") else cheapest.places


def _upheaval(task: Task, need: Need, s: int, outputs: tuple[int, ...]) -> float:
    offer = task.offers[s]
    stays = need.at is None or any((offer.name, offer.outputs[o].name) == need.at for o in outputs)
    on_a_throttle = need.use == "accessories" and offer.outputs[outputs[0]].is_variable
    return (0.0 if stays else MOVE) + ON_A_THROTTLE * on_a_throttle


def _stretched(task: Task, plan: SharePlan) -> SharePlan:
    """The plan with whether larger ratings would help, as far as that could be shown."""
    unlimited = replace(task, spending_limit=math.inf)
    found = _with_larger_ratings(_with_less_work(unlimited))
    if found.status == "unknown":
        found = _with_larger_ratings(unlimited)
    helps = {"proven": True, "found": True, "impossible": False, "unknown": None}[found.status]
    extra = {task.offers[s].name: amps * task.offers[s].max_volts for s, amps in found.extra_amps.items() if amps > 1e-4}
    return replace(plan, larger_rating_would_help=helps, extra_va=extra)


def _with_larger_ratings(task: Task) -> Found:
    model = ShareModel(task, stretch=True)
    model.row(dict.fromkeys(model.left, 1.0), most=0.0)
    model.cost_of_extra()
    return model.solved()


def _with_less_work(task: Task) -> Task:
    return replace(task, work=math.ceil(task.work * NICETY_SHARE))


def _place_all_at_least_price(model: ShareModel, task: Task) -> None:
    model.row(dict.fromkeys(model.left, 1.0), most=0.0)
    for s, (column, offer) in enumerate(zip(model.bought, task.offers, strict=True)):
        # One supply fewer is worth a little, so that none stands in a plan without need.
        model.cost(column, offer.price + 0.01)
        for t in _twins_before(task.offers, s):
            model.row({model.bought[t]: 1.0, column: -1.0}, least=0.0)


def _twins_before(offers: Sequence[Offer], s: int) -> Iterator[int]:
    """The last offer before this one that differs in nothing but its name."""
    alike = [t for t in range(s) if replace(offers[t], name="") == replace(offers[s], name="")]
    yield from alike[-1:]


def _plan(task: Task, places: dict[int, Place], *, proven: bool) -> SharePlan:
    carried: dict[int, list[Need]] = {}
    for n, (s, _) in sorted(places.items()):
        carried.setdefault(s, []).append(task.needs[n])
    offers = {s: task.offers[s] for s in sorted(carried)}
    price = sum(offer.price for offer in offers.values())
    return SharePlan(
        places={
            task.needs[n].name: (task.offers[s].name, task.offers[s].outputs[o].name) for n, (s, o) in sorted(places.items())
        },
        price=price,
        used=tuple(offer.name for offer in offers.values()),
        mixed=tuple(offer.name for s, offer in offers.items() if len({need.use for need in carried[s]}) > 1),
        used_share={offer.name: sum(need.amps for need in carried[s]) / offer.amps for s, offer in offers.items()},
        left_out=tuple(need.name for n, need in enumerate(task.needs) if n not in places),
        price_per_va=price / max(1e-9, sum(offer.usable_va for offer in offers.values())),
        proven=proven,
    )
