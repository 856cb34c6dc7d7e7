"""The plan file: what planning needs and the layout file does not say, in a small TOML file of its own beside it.

For ``show.toml`` it is ``show.plan.toml``; without one, the defaults stand. It may hold supplies that could be bought, draws guessed
from the table of typical ones, which supplies were phased to one another, which rails share a common, and what the terminals are
called. Every key is optional.
"""

from typing import Annotated, Literal

from msgspec import Meta, Struct, field

from monitor.layout import Condition, Feeder, Protection, Supply
from monitor.layout.schema import IsoDate

Positive = Annotated[float, Meta(gt=0, le=1e6)]
NotNegative = Annotated[float, Meta(ge=0, le=1e6)]
Name = Annotated[str, Meta(min_length=1, max_length=80)]
Share = Annotated[float, Meta(ge=0, le=1)]
CANDIDATES_LIMIT = 60


class _PlanTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """A table of the file: unknown keys are errors."""


class Candidate(_PlanTable, frozen=True):
    """A supply that could be bought.

    Attributes:
        name: What to call it.
        price: In whatever money, for one.
        current: What comes out.
        max_volts: Highest output volts.
        rated_va: Plate total over all outputs, volt-amperes; one of this and rated_watts is given.
        rated_watts: The same from a plate in watts.
        rating_is: Which side the plate rates.
        outputs: How many outputs it has.
        output_amps: Own limit of each output; None where only the total bounds it.
        count: How many could be had.
        input_volts: Mains volts on the plate, as the seller reads them; likewise the next.
        input_hertz: Hertz.
        protection: What opens when too much is drawn, as the seller says.
        condition: What the seller answered to the bench check's questions.
    """

    name: Name
    price: NotNegative
    current: Literal["ac", "dc"]
    max_volts: Annotated[float, Meta(gt=0, le=1000)]
    rated_va: Positive | None = None
    rated_watts: Positive | None = None
    rating_is: Literal["output", "input"] = "output"
    outputs: Annotated[int, Meta(ge=1, le=20)] = 1
    output_amps: Positive | None = None
    count: Annotated[int, Meta(ge=1, le=20)] = 1
    input_volts: tuple[Positive, ...] | None = None
    input_hertz: tuple[Positive, ...] | None = None
    protection: Protection | None = None
    condition: Condition | None = None

    def as_supply(self) -> Supply:
        """The supply that it would be."""
        return Supply(**{key: getattr(self, key) for key in Supply.__struct_fields__})


class SetAside(_PlanTable, frozen=True):
    """A verdict that a person set aside: the supply is still given no load by sharing.

    Attributes:
        supply: The supply.
        reason: Why.
        by: Who answers for it.
        on: When, ISO 8601.
    """

    supply: Name
    reason: Annotated[str, Meta(min_length=3, max_length=400)]
    by: Name
    on: IsoDate

    @property
    def words(self) -> str:
        """For a person."""
        return f"used against the bench check's verdict: {self.by} answers for it since {self.on} ({self.reason})"


class Guess(_PlanTable, frozen=True):
    """Loads that were not measured, by a row of the table of typical draws.

    Attributes:
        like: Name of the row.
        district: Where they run.
        count: How many.
    """

    like: Name
    district: Name
    count: Annotated[int, Meta(ge=1, le=200)] = 1


class Tap(_PlanTable, frozen=True):
    """Where something is joined to a common return.

    Attributes:
        at_m: Distance along the wire from its beginning, metres.
        supply: The common terminal of this supply; one of this and district is given.
        district: The return rail of this district.
    """

    at_m: Annotated[float, Meta(ge=0, le=1000)]
    supply: Name | None = None
    district: Name | None = None


class CommonReturn(_PlanTable, frozen=True):
    """A wire to which the returns of several districts and the commons of their supplies are joined.

    Attributes:
        name: Its name.
        tap: What is joined to it, and where.
        awg: American wire gauge; one of this and mm2 is given.
        mm2: Cross-section in square millimetres.
        ring_m: Length of the whole wire where its end is joined to its beginning; None for one with two ends.
        opposed: Supplies found in anti-phase to the others.
    """

    name: Name
    tap: tuple[Tap, ...]
    awg: Annotated[int, Meta(ge=0, le=40)] | None = None
    mm2: Annotated[float, Meta(gt=0, le=100)] | None = None
    ring_m: Annotated[float, Meta(gt=0, le=2000)] | None = None
    opposed: tuple[Name, ...] = ()

    @property
    def wire(self) -> Feeder:
        """One metre of the wire, as a conductor."""
        return Feeder(awg=self.awg, mm2=self.mm2, one_way_m=1.0)


class TrackLoss(_PlanTable, frozen=True):
    """What the way to the far end of a district's track adds to its wires; one of ohms_per_m and loop_ohms is given.

    Attributes:
        district: The district.
        ohms_per_m: Of one metre of track, both rails together, joints included.
        metres: From where the feeder joins to the farthest end.
        loop_ohms: Measured at the output's end of the wires with the far end of the track short-circuited and the supply off: wires,
            rails and joints together.
    """

    district: Name
    ohms_per_m: NotNegative | None = None
    metres: NotNegative | None = None
    loop_ohms: NotNegative | None = None

    @property
    def ohms(self) -> float:
        """What the track adds to the wires."""
        return (self.ohms_per_m or 0.0) * (self.metres or 0.0)


class Terminals(_PlanTable, frozen=True):
    """What the terminals of a supply are, as measured.

    Attributes:
        supply: The supply.
        common: Its common terminal.
        hot: Output name to the terminal that is hot for it.
        other_commons: Output name to its own common, where that differs.
        volts: Terminal to its volts against the common, in words ("6.0-18.0 V").
        alone: Outputs on a winding of their own with two terminals and no more: their two wires may be swapped.
    """

    supply: Name
    common: Name
    hot: dict[str, str] = {}
    other_commons: dict[str, str] = {}
    volts: dict[str, str] = {}
    alone: tuple[Name, ...] = ()


class Plan(_PlanTable, frozen=True):
    """The whole file.

    Attributes:
        reserve: Share of every limit to keep free when sharing (common practice: 0.2-0.3).
        drop_share: Volts that a feeder may lose, share of the supply's highest (common practice: 0.05).
        celsius: Temperature of the feeders' copper.
        rails: Rails of the track, for wiring cards.
        trains: The current that the trains need, for the bench check; None where both kinds run.
        each_accessory: Share out accessories one by one instead of district by district.
        at_once: Share of each kind of load that typically runs at once.
        spending_limit: The most that all candidates together may cost; None where there is no limit.
        share_seconds: About how long the solver may take for sharing on an ordinary computer; counted in work, not in time.
        set_aside: Verdicts of the bench check that a person set aside; shown wherever they matter.
        prices: Supplies of the layout file that would have to be bought.
        phased: Groups of supplies that were phased to one another, so that their commons may meet.
        candidate: Supplies that could be bought.
        guess: Loads by the table of typical draws.
        common: Returns that several districts share.
        track: What rails and joints of districts lose.
        terminals: What was measured of supplies' terminals.
    """

    reserve: Annotated[float, Meta(ge=0, le=0.9)] = 0.2
    drop_share: Annotated[float, Meta(gt=0, le=0.5)] = 0.05
    celsius: Annotated[float, Meta(ge=-40, le=105)] = 40.0
    rails: Literal[2, 3] = 3
    trains: Literal["ac", "dc"] | None = None
    each_accessory: bool = False
    at_once: dict[Literal["locomotive", "lighting", "accessory"], Share] = field(default_factory=dict)
    spending_limit: NotNegative | None = None
    share_seconds: Annotated[float, Meta(gt=0, le=3600)] = 10.0
    set_aside: tuple[SetAside, ...] = ()
    prices: dict[str, NotNegative] = {}
    phased: tuple[tuple[Name, ...], ...] = ()
    candidate: Annotated[tuple[Candidate, ...], Meta(max_length=CANDIDATES_LIMIT)] = ()
    guess: tuple[Guess, ...] = ()
    common: tuple[CommonReturn, ...] = ()
    track: tuple[TrackLoss, ...] = ()
    terminals: tuple[Terminals, ...] = ()

    def terminals_of(self, supply: str) -> Terminals | None:
        """What was measured of one supply's terminals; None where nothing was."""
        return next((found for found in self.terminals if found.supply == supply), None)
