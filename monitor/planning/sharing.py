"""Sharing the load: which district and which accessory on which output, at least cost, under every limit.

An exact mixed-integer programme, solved by HiGHS (see ``solving``). Nothing is ever counted against a single output that
the nameplate gives only as a total over all of them.
"""

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from monitor.errors import LayoutError
from monitor.planning.packing import Assignment, Packing, groups_of, outputs_for, spread_outputs
from monitor.planning.programme import Undecided
from monitor.planning.solving import solve_exactly

NEEDS_LIMIT, OFFERS_LIMIT = 200, 60
WITHIN_S = 3.5
"""For the proof that a plan is the cheapest; the best found by then is taken and said not to be proven."""
SECOND_BEST_SHARE = 1.4
"""All that sharing may take, in shares of the time for the proof: what is left goes to what to leave out and to the smallest change."""
LEAST_S = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """A supply on hand or one that could be bought.

    Attributes:
        name: Its name.
        current: What comes out.
        usable_va: What all its outputs may give together (a plate that rates the input already derated).
        max_volts: Highest output volts.
        output_amps: Limit of each output, amps; at least one output.
        winding_amps: Limit over all outputs together at any throttle, amps.
        fixed_outputs: Outputs that no throttle moves: no track goes there.
        price: Zero for a supply on hand.
        phase_group: Supplies with the same mark have been phased to one another; their commons may meet.
        fit: False for a supply that the bench check found unfit: it gets no load.
    """

    name: str
    current: Literal["ac", "dc"]
    usable_va: float
    max_volts: float
    output_amps: tuple[float, ...]
    winding_amps: float
    fixed_outputs: frozenset[int] = frozenset()
    price: float = 0.0
    phase_group: str = ""
    fit: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """A district or an accessory group that wants power.

    Attributes:
        name: Its name.
        use: "track" or "accessories".
        current: What it takes; None where either will do (lamps).
        amps: Draw to provide for.
        volts: Volts that it must have.
        likes_volts: Volts at which it runs as it should; a supply that gives less just runs it slower. 0 where nothing is known.
        common: Needs with the same mark share a common rail; they go on one supply or on supplies of one phase group.
    """

    name: str
    use: Literal["track", "accessories"]
    current: Literal["ac", "dc"] | None
    amps: float
    volts: float
    likes_volts: float = 0.0
    common: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SharePlan:
    """One way of sharing.

    Attributes:
        places: For each need, (supply, output number from 0).
        price: Of the supplies to buy.
        used: Supplies that carry load.
        mixed: Supplies that carry track and accessories together.
        va_share: Share of each used supply's usable VA.
        left_out: Needs that found no place.
        price_per_va: Price of what is to be bought over the usable volt-amperes of all supplies used; 0 where nothing is.
        proven: False where time ran out before the plan was proven cheapest: it keeps every limit, but a cheaper one may exist.
        extra_va: Supplies that would have to be larger by so much for everything to fit: the smallest such change.
    """

    places: dict[str, tuple[str, int]]
    price: float
    used: tuple[str, ...]
    mixed: tuple[str, ...]
    va_share: dict[str, float]
    left_out: tuple[str, ...] = ()
    price_per_va: float = 0.0
    proven: bool = True
    extra_va: dict[str, float] | None = None

    @property
    def fits(self) -> bool:
        """Everything has a place."""
        return not self.left_out


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareOptions:
    """How to share.

    Attributes:
        reserve: Share of every limit kept free (common practice: 0.2-0.3; NEC 210.20(A) asks for 0.2 where a load runs three hours).
        mix_price: What it is worth, in money, not to have accessories on a track supply.
        used_price: What it is worth not to need one more supply.
        within_s: Time for the proof.
    """

    reserve: float = 0.2
    mix_price: float = 1.0
    used_price: float = 0.01
    within_s: float = WITHIN_S


def share_load(needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions | None = None) -> SharePlan:
    """The cheapest plan; where not everything fits, the plan that leaves out least, with the smallest change that would cure it.

    Raises:
        LayoutError: More needs or offers than can be weighed, a negative figure, or a reserve outside 0-0.9.
    """
    options = options or ShareOptions()
    _check(needs, offers, options)
    until_s, proven = time.monotonic() + SECOND_BEST_SHARE * options.within_s, True
    try:
        whole = solve_exactly(needs, offers, options, within_s=options.within_s)
    except Undecided:
        whole, proven = None, False
    if whole is not None:
        return _plan(needs, offers, whole)
    try:
        partial = _packed(needs, offers, options, (until_s - time.monotonic()) / 2, may_leave_out=True)
    except Undecided:
        partial = None
    if partial is None:
        raise LayoutError("no plan could be worked out in time: leave some loads out, or give it longer with --seconds")
    partial = replace(partial, proven=partial.proven and proven)
    if len(partial.places) == len(needs):
        return _plan(needs, offers, partial)
    try:
        stretched = _packed(needs, offers, options, until_s - time.monotonic(), may_stretch=True)
    except Undecided:
        stretched = None
    return _plan(needs, offers, partial, stretched)


def alternatives(
    needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions | None = None, most: int = 3
) -> list[SharePlan]:
    """Plans that use other sets of supplies: the cheapest of all, then others ranked by price per usable volt-ampere."""
    options = options or ShareOptions()
    _check(needs, offers, options)
    plans: list[SharePlan] = []
    barred: list[frozenset[int]] = []
    names = [offer.name for offer in offers]
    while len(plans) < most:
        try:
            found = solve_exactly(needs, offers, options, within_s=options.within_s, barred_sets=barred)
        except Undecided:
            break
        if found is None:
            break
        plan = _plan(needs, offers, found)
        plans.append(plan)
        barred.append(frozenset(names.index(name) for name in plan.used))
    return [*plans[:1], *sorted(plans[1:], key=lambda plan: (plan.price_per_va, plan.price))]


def _packed(
    needs: Sequence[Need],
    offers: Sequence[Offer],
    options: ShareOptions,
    within_s: float,
    *,
    may_leave_out: bool = False,
    may_stretch: bool = False,
) -> Assignment | None:
    groups = groups_of(needs, offers, options, stretch=may_stretch)
    packing = Packing(groups, offers, options, may_leave_out=may_leave_out, may_stretch=may_stretch)
    packing.join_commons()
    return packing.solved(max(LEAST_S, within_s))


def by_price_per_va(offers: Sequence[Offer]) -> list[tuple[Offer, float]]:
    """Candidates to buy with their price per usable VA, cheapest watt first."""
    priced = [(offer, offer.price / offer.usable_va) for offer in offers if offer.price > 0 and offer.usable_va > 0]
    return sorted(priced, key=lambda pair: pair[1])


def why_no_place(need: Need, offers: Sequence[Offer], options: ShareOptions) -> str:
    """What forbids a need that no larger total would help, and the smallest change that would; empty where a larger one would."""
    fit = [offer for offer in offers if offer.fit]
    right = [offer for offer in fit if need.current in (None, offer.current)]
    high_enough = [offer for offer in right if need.volts <= offer.max_volts]
    if not fit:
        return "no supply here is fit to be used: have one mended or add one that is"
    if not right:
        return f"it takes {(need.current or '').upper()} and no fit supply here gives that: add one that does"
    if not high_enough:
        highest = max(offer.max_volts for offer in right)
        return (
            f"it wants {need.volts:g} V and the highest here is {highest:g} V: add a supply of {need.volts:g} V, or run it slower"
        )
    reachable = [offer for offer in high_enough if outputs_for(need, offer)]
    if not reachable:
        return "track needs an output that a throttle moves, and none that suits it has one: add a supply with one"
    most = max(max(outputs_for(need, offer).values()) for offer in reachable) * (1 - options.reserve)
    totals = all(max(outputs_for(need, offer).values()) >= offer.winding_amps for offer in reachable)
    if need.amps > most and not totals:
        return (
            f"it draws {need.amps:g} A and one output gives {most:.1f} A at most with the reserve: divide it into two districts"
        )
    return ""


def explain(plan: SharePlan, needs: Sequence[Need], offers: Sequence[Offer] = (), options: ShareOptions | None = None) -> str:
    """The plan in words, one line a supply; with the offers also why something finds no place."""
    rows = []
    for supply in plan.used:
        on_it = [need for need in needs if plan.places.get(need.name, ("", 0))[0] == supply]
        names = ", ".join(f"{need.name} (output {plan.places[need.name][1] + 1}, {need.amps:g} A)" for need in on_it)
        rows.append(f"{supply}: {names}. {plan.va_share[supply]:.0%} of its total.")
    rows += [f"{supply} carries track and accessories together: accessories eat into its total." for supply in plan.mixed]
    rows += _slower_rows(plan, needs, offers)
    if plan.price:
        rows.append(f"To buy: {plan.price:g} in all.")
    if not plan.proven:
        rows.append(
            "Time ran out before it was proven that no less has to be left out: it keeps every limit, but a better plan may exist."
            if plan.left_out
            else "Time ran out before this was proven cheapest: it keeps every limit, but a cheaper plan may exist."
        )
    rows += _left_out_rows(plan, needs, offers, options or ShareOptions())
    return "\n".join(rows) + "\n"


def _slower_rows(plan: SharePlan, needs: Sequence[Need], offers: Sequence[Offer]) -> Iterator[str]:
    volts = {offer.name: offer.max_volts for offer in offers}
    for need in needs:
        given = volts.get(plan.places.get(need.name, ("", 0))[0])
        if given is not None and given < need.likes_volts - 0.5:
            yield f"{need.name} would like about {need.likes_volts:g} V and gets {given:g} V at most: its trains just run slower."


def _left_out_rows(plan: SharePlan, needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions) -> Iterator[str]:
    whys = {need.name: why_no_place(need, offers, options) for need in needs if need.name in plan.left_out} if offers else {}
    for name in plan.left_out:
        why = whys.get(name, "")
        yield f"{name} finds no place: {why}." if why else f"{name} finds no place."
    if plan.left_out and plan.extra_va:
        change = " and ".join(f"{supply} by {va:.0f} VA" for supply, va in plan.extra_va.items())
        yield f"The smallest change that makes everything fit: {change} more."
    elif plan.left_out:
        yield "No larger rating of these supplies would help: the volts, the kind of current or a single output's limit forbid it."


def _check(needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions) -> None:
    if len(needs) > NEEDS_LIMIT or len(offers) > OFFERS_LIMIT:
        raise LayoutError(f"at most {NEEDS_LIMIT} loads and {OFFERS_LIMIT} supplies can be weighed at once: split the layout")
    if not 0 <= options.reserve <= 0.9:
        raise LayoutError("the reserve is a share of every limit: give a figure from 0 to 0.9", key="reserve")
    for need in needs:
        if need.amps < 0 or need.volts < 0:
            raise LayoutError("amps and volts cannot be negative: correct them", table=f'load "{need.name}"')


def _plan(needs: Sequence[Need], offers: Sequence[Offer], found: Assignment, stretched: Assignment | None = None) -> SharePlan:
    outputs = spread_outputs(found.places, needs, offers)
    places = {needs[n].name: (offers[s].name, outputs[n]) for n, (s, _) in found.places.items()}
    carried = {s: [needs[n] for n, (supply, _) in found.places.items() if supply == s] for s, _ in found.places.values()}
    return SharePlan(
        places=places,
        price=sum(offers[s].price for s in carried),
        used=tuple(offers[s].name for s in sorted(carried)),
        mixed=tuple(offers[s].name for s in sorted(carried) if len({need.use for need in carried[s]}) > 1),
        va_share={offers[s].name: sum(n.amps * n.volts for n in on_it) / offers[s].usable_va for s, on_it in carried.items()},
        price_per_va=sum(offers[s].price for s in carried) / max(1e-9, sum(offers[s].usable_va for s in carried)),
        left_out=tuple(need.name for k, need in enumerate(needs) if k not in found.places),
        proven=found.proven,
        extra_va=None if stretched is None else {offers[s].name: va for s, va in stretched.extra_va.items() if va > 1e-6},
    )
