"""What sharing takes and gives: offers, needs, options and a plan."""

from dataclasses import dataclass
from typing import Literal

from monitor.planning.plan_file import Plan

RESERVE = 0.2
"""Share of every limit to keep free: common practice 0.2-0.3; NEC 210.20(A) asks for 0.2 where a load runs three hours and more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OfferOutput:
    """One output of an offer.

    Attributes:
        name: Its name.
        volts: The most that it gives.
        current: What comes out.
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
        name: Its name.
        amps: What winding and protection both stand for long, over all outputs together, at any throttle.
        usable_va: What its plate allows over all outputs together.
        outputs: At least one.
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
        name: Its name.
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
