"""The plan file: what planning needs and the layout file does not say, in a small TOML file of its own beside it.

For ``show.toml`` it is ``show.plan.toml``; without one, the defaults stand. It may hold supplies that could be bought, draws guessed
from the table of typical ones, which supplies were phased to one another, which rails share a common, and what the terminals are
called. Every key is optional.
"""

import difflib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Annotated, Literal

import msgspec
from msgspec import Meta, Struct, field

from monitor.errors import LayoutError
from monitor.layout import Condition, Feeder, Layout, Protection, Supply
from monitor.layout.load import parse_tables, read_text
from monitor.layout.schema import IsoDate
from monitor.planning.typical_draws import TYPICAL_DRAWS

Positive = Annotated[float, Meta(gt=0, le=1e6)]
NotNegative = Annotated[float, Meta(ge=0, le=1e6)]
Name = Annotated[str, Meta(min_length=1, max_length=80)]
Share = Annotated[float, Meta(ge=0, le=1)]
CANDIDATES_LIMIT = 60


class _PlanTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
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
    """Loads that nobody measured, by a row of the table of typical draws.

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
        """The wire as conductors are reckoned; one metre of it."""
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
    """

    supply: Name
    common: Name
    hot: dict[str, str] = {}
    other_commons: dict[str, str] = {}
    volts: dict[str, str] = {}


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
        set_aside: Verdicts of the bench check that a person set aside; said wherever it matters.
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


def changed_plan(plan: Plan, changes: Mapping[str, object]) -> Plan:
    """A plan with some of its keys changed.

    Raises:
        LayoutError: A value is one that the key cannot have.
    """
    try:
        return msgspec.convert({**msgspec.to_builtins(plan), **changes}, Plan)
    except msgspec.ValidationError as error:
        raise LayoutError(f"{', '.join(changes)}: {str(error).split(' - at')[0]}: correct it") from error


def plan_path(layout_path: Path) -> Path:
    """Where the plan file of a layout file is: ``show.plan.toml`` for ``show.toml``."""
    return layout_path.with_suffix(".plan.toml")


def load_plan(layout_path: Path, layout: Layout, plan: Path | None = None) -> Plan:
    """The plan of a layout file; the defaults where it has none.

    Args:
        layout_path: The layout file.
        layout: What it says.
        plan: Another plan file, which then has to be there.

    Raises:
        LayoutError: The file cannot be read, or says something that cannot be.
    """
    path = plan or plan_path(layout_path)
    if plan is None and not path.exists():
        return Plan()
    return parse_plan(read_text(path), layout, source=str(path))


def parse_plan(text: str, layout: Layout, *, source: str | None = None) -> Plan:
    """Check the text of a plan file against its layout.

    Raises:
        LayoutError: It says something that cannot be; the message names table, key and remedy.
    """
    plan = parse_tables(text, Plan, source=source)
    for table, key, message in _errors(plan, layout):
        raise LayoutError(message, source=source, table=table, key=key)
    return plan


_Error = tuple[str | None, str, str]


def _errors(plan: Plan, layout: Layout) -> Iterator[_Error]:
    supplies = [supply.name for supply in layout.supply]
    for key, names in (("prices", plan.prices), ("phased", [n for g in plan.phased for n in g])):
        yield from _points_nowhere(None, key, names, supplies)
    taken = set(supplies)
    for candidate in plan.candidate:
        yield from _candidate_errors(candidate, taken)
        taken.add(candidate.name)
    yield from _points_nowhere("set_aside", "supply", [each.supply for each in plan.set_aside], supplies)
    for guess in plan.guess:
        yield from _points_nowhere("guess", "district", [guess.district], [district.name for district in layout.district])
        yield from _points_nowhere("guess", "like", [guess.like], [draw.name for draw in TYPICAL_DRAWS])
    yield from _way_errors(plan, layout)
    for terminals in plan.terminals:
        yield from _points_nowhere("terminals", "supply", [terminals.supply], supplies)
        outputs = [output.name for output in layout.output if output.supply == terminals.supply]
        yield from _points_nowhere("terminals", "hot", [*terminals.hot, *terminals.other_commons], outputs)


def _way_errors(plan: Plan, layout: Layout) -> Iterator[_Error]:
    for common in plan.common:
        yield from _common_errors(common, layout)
        for name in {name for group in plan.phased for name in group} & set(common.opposed):
            yield (
                f'common "{common.name}"',
                "opposed",
                f'"{name}" is in phased, too: it is one or the other, so take it out of one',
            )
    for track in plan.track:
        yield from _points_nowhere("track", "district", [track.district], [district.name for district in layout.district])
        if (track.loop_ohms is None) == (track.ohms_per_m is None or track.metres is None):
            yield f'track "{track.district}"', "loop_ohms", "give either loop_ohms as measured, or ohms_per_m and metres"


def _points_nowhere(table: str | None, key: str, names: Iterable[str], known: list[str]) -> Iterator[_Error]:
    for name in names:
        if name not in known:
            close = difflib.get_close_matches(name, known, n=1)
            remedy = f'did you mean "{close[0]}"?' if close else f"use one of: {', '.join(known) or '(none yet)'}"
            yield table, key, f'"{name}" points nowhere: {remedy}'


def _candidate_errors(candidate: Candidate, taken: set[str]) -> Iterator[_Error]:
    table = f'candidate "{candidate.name}"'
    if candidate.name in taken:
        yield table, "name", "a supply or another candidate has this name: give it one of its own"
    if (candidate.rated_va is None) == (candidate.rated_watts is None):
        yield table, "rated_va", "give exactly one of rated_va and rated_watts, as the nameplate reads"


def _common_errors(common: CommonReturn, layout: Layout) -> Iterator[_Error]:
    table = f'common "{common.name}"'
    if (common.awg is None) == (common.mm2 is None):
        yield table, "awg", "give exactly one of awg and mm2 for its wire"
    supplies = [tap.supply for tap in common.tap if tap.supply is not None]
    districts = [tap.district for tap in common.tap if tap.district is not None]
    if any((tap.supply is None) == (tap.district is None) for tap in common.tap):
        yield table, "tap", "each tap joins either a supply or a district: give one of the two"
    yield from _points_nowhere(table, "tap", supplies, [supply.name for supply in layout.supply])
    yield from _points_nowhere(table, "tap", districts, [district.name for district in layout.district])
    yield from _points_nowhere(table, "opposed", common.opposed, supplies)
    for name in [name for names in (supplies, districts) for name in sorted({n for n in names if names.count(n) > 1})]:
        yield table, "tap", f'"{name}" is joined twice: once is enough'
    for district in (district for district in layout.district if district.name in districts and district.supply not in supplies):
        yield (
            table,
            "tap",
            f'district "{district.name}" is fed by {district.supply}, whose common is not joined: add a tap for it',
        )
    if len({layout.supply_named(name).current for name in supplies if name in [s.name for s in layout.supply]}) > 1:
        yield table, "tap", "AC and DC supplies do not share a return: keep them on wires of their own"
    if common.ring_m is not None and any(tap.at_m > common.ring_m for tap in common.tap):
        yield table, "ring_m", "a tap lies beyond the end of the ring: correct at_m or ring_m"
