"""Sharing the load: which district and which accessory on which output, at least cost, under every limit.

An exact mixed-integer programme, solved by HiGHS through ``scipy.optimize.milp``. Nothing is ever counted against a single output that
the nameplate gives only as a total over all of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from monitor.errors import LayoutError
from monitor.planning.assignment import Assignment, solve

NEEDS_LIMIT, OFFERS_LIMIT = 200, 60


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
        price: Zero for a supply on hand.
        phase_group: Supplies with the same mark have been phased to one another; their commons may meet.
        fit: False for a supply that the bench check found unfit: it gets no load unless ``override`` is set.
        override: A person said to use it all the same.
    """

    name: str
    current: Literal["ac", "dc"]
    usable_va: float
    max_volts: float
    output_amps: tuple[float, ...]
    winding_amps: float
    price: float = 0.0
    phase_group: str = ""
    fit: bool = True
    override: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """A district or an accessory group that wants power.

    Attributes:
        name: Its name.
        use: "track" or "accessories".
        current: What it takes; None where either will do (lamps).
        amps: Draw to provide for.
        volts: Highest volts it wants.
        common: Needs with the same mark share a common rail; they go on one supply or on supplies of one phase group.
    """

    name: str
    use: Literal["track", "accessories"]
    current: Literal["ac", "dc"] | None
    amps: float
    volts: float
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
        proven: False where time ran out before the plan was proven cheapest: it keeps every limit, but a cheaper one may exist.
        extra_va: Supplies that would have to be larger by so much for everything to fit: the smallest such change.
    """

    places: dict[str, tuple[str, int]]
    price: float
    used: tuple[str, ...]
    mixed: tuple[str, ...]
    va_share: dict[str, float]
    left_out: tuple[str, ...] = ()
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
    """

    reserve: float = 0.2
    mix_price: float = 1.0
    used_price: float = 0.01


def share_load(needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions | None = None) -> SharePlan:
    """The cheapest plan; where not everything fits, the plan that leaves out least, with the smallest change that would cure it.

    Raises:
        LayoutError: More needs or offers than can be weighed, a negative figure, or a reserve outside 0-0.9.
    """
    options = options or ShareOptions()
    _check(needs, offers, options)
    whole = solve(needs, offers, options, may_leave_out=False)
    if whole is not None:
        return _plan(needs, offers, whole)
    partial = solve(needs, offers, options, may_leave_out=True)
    if partial is None:
        raise LayoutError("no plan could be worked out: check the figures of the supplies and needs")
    if len(partial.places) == len(needs):
        return _plan(needs, offers, partial)
    stretched = solve(needs, offers, options, may_leave_out=False, may_stretch=True)
    return _plan(needs, offers, partial, stretched)


def alternatives(
    needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions | None = None, most: int = 3
) -> list[SharePlan]:
    """Plans that use other sets of supplies, cheapest first; empty where nothing fits."""
    options = options or ShareOptions()
    _check(needs, offers, options)
    plans: list[SharePlan] = []
    barred: list[frozenset[str]] = []
    while len(plans) < most:
        found = solve(needs, offers, options, may_leave_out=False, barred_sets=barred)
        if found is None:
            break
        plan = _plan(needs, offers, found)
        plans.append(plan)
        barred.append(frozenset(plan.used))
    return plans


def by_price_per_va(offers: Sequence[Offer]) -> list[tuple[Offer, float]]:
    """Candidates to buy with their price per usable VA, cheapest watt first."""
    priced = [(offer, offer.price / offer.usable_va) for offer in offers if offer.price > 0 and offer.usable_va > 0]
    return sorted(priced, key=lambda pair: pair[1])


def explain(plan: SharePlan, needs: Sequence[Need]) -> str:
    """The plan in words, one line a supply."""
    rows = []
    for supply in plan.used:
        on_it = [need for need in needs if plan.places.get(need.name, ("", 0))[0] == supply]
        names = ", ".join(f"{need.name} (output {plan.places[need.name][1] + 1}, {need.amps:g} A)" for need in on_it)
        rows.append(f"{supply}: {names}. {plan.va_share[supply]:.0%} of its total.")
    rows += [f"{supply} carries track and accessories together: accessories eat into its total." for supply in plan.mixed]
    if plan.price:
        rows.append(f"To buy: {plan.price:g} in all.")
    if not plan.proven:
        rows.append("Time ran out before this was proven cheapest: it keeps every limit, but a cheaper plan may exist.")
    rows += [f"{name} finds no place." for name in plan.left_out]
    if plan.left_out and plan.extra_va:
        change = " and ".join(f"{supply} by {va:.0f} VA" for supply, va in plan.extra_va.items())
        rows.append(f"The smallest change that makes everything fit: {change} more.")
    elif plan.left_out:
        rows.append(
            "No larger rating of these supplies would help: the volts, the kind of current or a single output's limit forbid it."
        )
    return "\n".join(rows) + "\n"


def _check(needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions) -> None:
    if len(needs) > NEEDS_LIMIT or len(offers) > OFFERS_LIMIT:
        raise LayoutError(f"at most {NEEDS_LIMIT} loads and {OFFERS_LIMIT} supplies can be weighed at once: split the layout")
    if not 0 <= options.reserve <= 0.9:
        raise LayoutError("the reserve is a share of every limit: give a figure from 0 to 0.9", key="reserve")
    for need in needs:
        if need.amps < 0 or need.volts < 0:
            raise LayoutError("amps and volts cannot be negative: correct them", table=f'load "{need.name}"')


def _plan(needs: Sequence[Need], offers: Sequence[Offer], found: Assignment, stretched: Assignment | None = None) -> SharePlan:
    places = {needs[n].name: (offers[s].name, o) for n, (s, o) in found.places.items()}
    carried = {s: [needs[n] for n, (supply, _) in found.places.items() if supply == s] for s, _ in found.places.values()}
    return SharePlan(
        places=places,
        price=sum(offers[s].price for s in carried),
        used=tuple(offers[s].name for s in sorted(carried)),
        mixed=tuple(offers[s].name for s in sorted(carried) if len({need.use for need in carried[s]}) > 1),
        va_share={offers[s].name: sum(n.amps * n.volts for n in on_it) / offers[s].usable_va for s, on_it in carried.items()},
        left_out=tuple(need.name for k, need in enumerate(needs) if k not in found.places),
        proven=found.proven,
        extra_va=None if stretched is None else {offers[s].name: va for s, va in stretched.extra_va.items() if va > 1e-6},
    )
