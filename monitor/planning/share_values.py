"""What sharing takes and gives: offers and needs of a layout and its plan, options and a plan of places."""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from monitor.layout import District, Layout, Supply
from monitor.layout.ratings import output_current, output_volts, safe_amps, usable_va
from monitor.planning.bench_check import Fitness, check_all, check_candidate
from monitor.planning.plan_file import Candidate, Plan
from monitor.planning.planned_loads import PlannedLoad, planned_loads, rides_in_train

RESERVE = 0.2
"""Share of every limit to keep free: common practice 0.2-0.3; NEC 210.20(A) asks for 0.2 where a load runs three hours and more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OfferOutput:
    """One output of an offer.

    Attributes:
        volts: The most that it gives.
        is_variable: A throttle moves it; no track goes on one that does not.
        own_amps: Its own limit; None where only the whole supply bounds it.
    """

    name: str
    volts: float
    current: Literal["ac", "dc"]
    is_variable: bool = True
    own_amps: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """A supply on hand or one that could be bought.

    Attributes:
        amps: What winding and protection both stand for long, over all outputs together, at any throttle.
        usable_va: What its plate allows over all outputs together.
        price: Zero for a supply on hand.
        phase_group: Supplies with the same mark have been phased to one another; their commons may meet.
        refusal: Why it gets no load, from the bench check; empty where it is fit.
        candidate: Name of what would be bought; empty for a supply on hand.
        to_check: Of a candidate: what has to be looked at before it is energised.
    """

    name: str
    amps: float
    usable_va: float
    outputs: tuple[OfferOutput, ...]
    price: float = 0.0
    phase_group: str = ""
    refusal: str = ""
    candidate: str = ""
    to_check: tuple[str, ...] = ()

    @property
    def max_volts(self) -> float:
        """The most volts of any output."""
        return max(output.volts for output in self.outputs)


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """A district or an accessory group that wants power.

    Attributes:
        use: "track" or "accessories".
        current: What it takes; None where either will do (lamps).
        amps: Draw to provide for, with everything running.
        volts: Volts that it must have.
        likes_volts: Volts at which it runs as it should; a supply that gives less just runs it slower. 0 where nothing is known.
        most_volts: An output that no throttle moves may give it no more.
        common: Needs with the same mark share a common rail; they go on one supply or on supplies of one phase group.
        at: (supply, output) where it is today; None where it is new.
    """

    name: str
    use: Literal["track", "accessories"]
    current: Literal["ac", "dc"] | None
    amps: float
    volts: float
    likes_volts: float = 0.0
    most_volts: float = float("inf")
    common: str = ""
    at: tuple[str, str] | None = None


BRANCHES_A_SECOND = 200
"""Measured with a club's sizes: 100 to 200 branches a second of processor time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareOptions:
    """How to share.

    Attributes:
        reserve: Share of every limit kept free.
        spending_limit: The most that may be spent; None where there is no limit.
        work: Branches that the solver may look at for each question. Work and not time, so that every computer gives the same answer.
    """

    reserve: float = RESERVE
    spending_limit: float | None = None
    work: int = 10 * BRANCHES_A_SECOND

    @classmethod
    def of_plan(cls, plan: Plan) -> "ShareOptions":
        """As a plan file says."""
        work = max(1, round(plan.share_seconds * BRANCHES_A_SECOND))
        return cls(reserve=plan.reserve, spending_limit=plan.spending_limit, work=work)


@dataclass(frozen=True, slots=True, kw_only=True)
class SharePlan:
    """One way of sharing.

    Attributes:
        places: For each need, (supply, output).
        price: Of what would be bought.
        used: Supplies that carry load.
        mixed: Supplies that carry track and accessories together.
        used_share: By supply that carries load: amps over what it may give for long.
        left_out: Needs that found no place.
        price_per_va: Price of what is to be bought over the usable volt-amperes of all supplies used; 0 where nothing is.
        proven: No plan leaves out less, and none that leaves out as little costs less. False where the work ran out before that was shown.
        larger_rating_would_help: Whether all would have a place if the supplies were rated for as much as it takes; None where
            everything has one, or where the work ran out.
        extra_va: By supply: larger by so much, and everything has a place; empty where that is not so.
    """

    places: dict[str, tuple[str, str]]
    price: float
    used: tuple[str, ...]
    mixed: tuple[str, ...]
    used_share: dict[str, float]
    left_out: tuple[str, ...] = ()
    price_per_va: float = 0.0
    proven: bool = True
    larger_rating_would_help: bool | None = None
    extra_va: dict[str, float] | None = None

    @property
    def fits(self) -> bool:
        """Everything has a place."""
        return not self.left_out


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
    """What an output without a throttle may give; where it is not given what the loads are made for, no more than today or than is usual."""
    known = [each.load.volts * (1 + VOLTS_OVER) for each in loads if each.load.volts is not None]
    return min(known) if known else max(gives, MOST_ACCESSORY_VOLTS)


def _is_heavy(planned: PlannedLoad) -> bool:
    return planned.load.kind == "locomotive" and planned.load.running_amps >= HEAVY_AMPS


def _common_of(plan: Plan, district: District) -> str:
    return next((common.name for common in plan.common if any(tap.district == district.name for tap in common.tap)), "")


def offers_of(layout: Layout, *, today: dt.date, plan: Plan | None = None) -> list[Offer]:
    """Every supply of the layout and every candidate as an offer; those that the bench check did not find fit get no load."""
    plan = plan or Plan()
    phased = {name: f"phased {k + 1}" for k, group in enumerate(plan.phased) for name in group}
    own = [
        Offer(
            name=supply.name,
            amps=safe_amps(supply),
            usable_va=usable_va(supply),
            outputs=_outputs(layout, supply),
            price=plan.prices.get(supply.name, 0.0),
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
