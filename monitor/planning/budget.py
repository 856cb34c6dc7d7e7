"""The power budget: what the loads draw, typical and at worst, against every limit, and the volts that arrive.

Worst case: everything runs and the load with the heaviest start starts on top. Typical: a stated share of each kind runs at once.
Every limit is in amps: the plate's volt-amperes over the supply's highest volts, since the budget has to hold with the throttle up. One
rule of reserve, here and in sharing: with everything running, a share of every limit stays free.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from monitor.layout import District, Layout, Output, Supply
from monitor.layout.ratings import WARM_CELSIUS, ampacity_amps, output_volts, usable_va, winding_amps
from monitor.planning.bench_check import BenchVerdict, refused
from monitor.planning.feeders import ConductorRun, FeederVolts, ReturnDrops, feeder_volts, return_drops
from monitor.planning.plan_file import Plan
from monitor.planning.planned_loads import PlannedLoad, planned_loads
from monitor.planning.share_values import MOST_ACCESSORY_VOLTS, RESERVE, VOLTS_OVER

LIMIT_WORDS = {
    "plate": "nameplate total",
    "winding": "winding current",
    "protection": "protection rating",
    "output": "output's own limit",
    "feeder": "feeder ampacity",
    "others": "what the other outputs leave",
}
AT_ONCE = {"locomotive": 0.8, "lighting": 1.0, "accessory": 0.3}
"""Share of each kind of load that typically runs at once: common practice, no published source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetOptions:
    """How the budget is made.

    Attributes:
        at_once: Share of each kind of load that typically runs at once.
        drop_share: Chosen limit of the volts lost on the way, share of the supply's highest volts (common practice: 5 %).
        celsius: Temperature of the feeders' copper.
        reserve: Share of every limit to keep free.
        refused: By supply: why no load may be put on it.
        set_aside: By supply: a verdict that a person set aside.
    """

    at_once: Mapping[str, float] = field(default_factory=lambda: dict(AT_ONCE))
    drop_share: float = 0.05
    celsius: float = WARM_CELSIUS
    reserve: float = RESERVE
    refused: Mapping[str, str] = field(default_factory=dict)
    set_aside: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def of_plan(cls, plan: Plan, verdicts: Sequence[BenchVerdict] = ()) -> "BudgetOptions":
        """As a plan file says, with supplies refused that the bench check did not find fit, unless a person set its verdict aside."""
        aside = {each.supply: each.words for each in plan.set_aside}
        unfit = refused(verdicts)
        return cls(
            at_once={**AT_ONCE, **{str(kind): share for kind, share in plan.at_once.items()}},
            drop_share=plan.drop_share,
            celsius=plan.celsius,
            reserve=plan.reserve,
            refused={name: why for name, why in unfit.items() if name not in aside},
            set_aside={name: f"{aside[name]}. {why}" for name, why in unfit.items() if name in aside},
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitUse:
    """One limit and how much of it is used.

    Attributes:
        kind: "plate", "winding", "protection", "output", "feeder", or "others" for what the other outputs leave.
        drawn: Amps with everything running.
        worst: Amps with the heaviest start on top, for a moment.
    """

    kind: str
    allowed: float
    typical: float
    drawn: float
    worst: float

    @property
    def limit(self) -> str:
        """Its name in words."""
        return LIMIT_WORDS[self.kind]

    @property
    def share(self) -> float:
        """With everything running, over allowed: a start lasts a moment and is judged apart."""
        return self._over(self.drawn)

    @property
    def typical_share(self) -> float:
        """Typically drawn over allowed."""
        return self._over(self.typical)

    @property
    def worst_share(self) -> float:
        """With a start on top, over allowed."""
        return self._over(self.worst)

    def _over(self, value: float) -> float:
        return value / self.allowed if self.allowed > 0 else float("inf") if value > 0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Draw:
    """A draw in amps: typical, with everything running, and at worst with a start on top."""

    typical_amps: float
    running_amps: float
    worst_amps: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetEntry:
    """The budget of one district, output or supply.

    Attributes:
        kind: "district", "output" or "supply".
        name: Its name; an output is written SUPPLY/OUTPUT.
        volts: Highest volts of the supply or output, at which volt-amperes are taken.
        limits: Every limit that bears on it, the tightest first.
        loads: What draws there; for a district.
        feeder: Volts lost on the way, for a district with a feeder or a shared return.
        refused: Why no load may be put on it, from the bench check; empty where it may.
        set_aside: The verdict that was set aside; empty where none was.
    """

    kind: str
    name: str
    draw: Draw
    volts: float
    limits: tuple[LimitUse, ...]
    loads: tuple[PlannedLoad, ...] = ()
    feeder: FeederVolts | None = None
    refused: str = ""
    set_aside: str = ""

    @property
    def binding(self) -> LimitUse | None:
        """The limit that is reached first."""
        return self.limits[0] if self.limits else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """The whole budget.

    Attributes:
        entries: Supplies, then outputs, then districts, in file order.
        returns: Shared returns.
        reserve: Share of every limit to keep free.
        too_many_volts: What gets more volts than it takes, one sentence each.
    """

    entries: tuple[BudgetEntry, ...]
    returns: tuple[ReturnDrops, ...]
    reserve: float
    too_many_volts: tuple[str, ...] = ()

    @property
    def binding(self) -> tuple[BudgetEntry, LimitUse] | None:
        """Where which limit is reached first on the whole layout; None where nothing draws."""
        found = [(entry, entry.binding) for entry in self.entries if entry.binding is not None and entry.binding.drawn > 0]
        return max(found, key=lambda pair: pair[1].share, default=None)


def make_budget(layout: Layout, options: BudgetOptions | None = None, plan: Plan | None = None) -> Budget:
    """The whole budget; guessed loads, shared returns and, without options, how it is made come from the plan."""
    plan = plan or Plan()
    options = options or BudgetOptions.of_plan(plan)
    loads: _Loads = {district.name: [] for district in layout.district}
    for each in planned_loads(layout, plan):
        loads[each.load.district].append(each)
    draws = {name: draw_of(of_it, options) for name, of_it in loads.items()}
    amps = {name: (draw.running_amps, draw.worst_amps) for name, draw in draws.items()}
    returns = tuple(
        return_drops(layout, common, amps, drop_share=options.drop_share, celsius=options.celsius) for common in plan.common
    )
    entries = (
        *_supplies(layout, loads, options),
        *_outputs(layout, loads, options),
        *_districts(layout, loads, _ways(layout, plan, returns), options),
    )
    bright = tuple(words for district in layout.district for words in too_many_volts(layout, district, loads[district.name]))
    return Budget(entries=entries, returns=returns, reserve=options.reserve, too_many_volts=bright)


def too_many_volts(layout: Layout, district: District, loads: Sequence[PlannedLoad]) -> Iterator[str]:
    """Lamps and accessories on an output that gives more than they take."""
    output = layout.output_named(district.supply, district.output)
    volts = output_volts(output, layout.supply_named(district.supply))
    for load in (each.load for each in loads if each.load.kind != "locomotive"):
        most = load.volts * (1 + VOLTS_OVER) if load.volts is not None else MOST_ACCESSORY_VOLTS
        if volts <= most or (load.volts is None and district.use == "track"):
            continue
        made = (
            f"is made for {load.volts:g} V"
            if load.volts is not None
            else "has no volts in the layout file (accessories take 18 V at most)"
        )
        remedy = (
            f"keep the throttle so low that a meter shows no more than {load.volts or MOST_ACCESSORY_VOLTS:g} V"
            if output.control == "variable"
            else "put it on an output that gives less, or measure and give its volts"
        )
        yield f"{load.name} {made}; output {district.output_name} gives up to {volts:g} V: {remedy}."


def draw_of(loads: Sequence[PlannedLoad], options: BudgetOptions) -> Draw:
    """What a group of loads draws."""
    own = [each.load for each in loads]
    running = sum(load.running_amps for load in own)
    start = max((max(0.0, (load.starting_amps or load.running_amps) - load.running_amps) for load in own), default=0.0)
    typical = sum(load.running_amps * options.at_once.get(load.kind, 1.0) for load in own)
    return Draw(typical_amps=typical, running_amps=running, worst_amps=running + start)


_Loads = dict[str, list[PlannedLoad]]


def _of(loads: _Loads, districts: Iterable[District]) -> list[PlannedLoad]:
    return [load for district in districts for load in loads[district.name]]


def _tightest(limits: Iterable[LimitUse]) -> tuple[LimitUse, ...]:
    return tuple(sorted(limits, key=lambda limit: -limit.share))


def _use(kind: str, allowed: float, draw: Draw) -> LimitUse:
    return LimitUse(kind=kind, allowed=allowed, typical=draw.typical_amps, drawn=draw.running_amps, worst=draw.worst_amps)


def _supplies(layout: Layout, loads: _Loads, options: BudgetOptions) -> Iterator[BudgetEntry]:
    for supply in layout.supply:
        draw = draw_of(_of(loads, layout.districts_of_supply(supply.name)), options)
        yield BudgetEntry(
            kind="supply",
            name=supply.name,
            draw=draw,
            volts=supply.max_volts,
            limits=_tightest(_supply_limits(supply, draw)),
            refused=options.refused.get(supply.name, ""),
            set_aside=options.set_aside.get(supply.name, ""),
        )


def _supply_limits(supply: Supply, draw: Draw) -> Iterator[LimitUse]:
    yield _use("plate", usable_va(supply) / supply.max_volts, draw)
    yield _use("winding", winding_amps(supply), draw)
    if supply.protection is not None and supply.protection.rated_amps is not None:
        yield _use("protection", supply.protection.rated_amps, draw)


def _outputs(layout: Layout, loads: _Loads, options: BudgetOptions) -> Iterator[BudgetEntry]:
    for output in layout.output:
        name = f"{output.supply}/{output.name}"
        supply = layout.supply_named(output.supply)
        own = [district for district in layout.district if district.output_name == name]
        draw = draw_of(_of(loads, own), options)
        others = draw_of(_of(loads, (d for d in layout.districts_of_supply(supply.name) if d not in own)), options)
        limits = _tightest(_output_limits(output, supply, draw, others))
        yield BudgetEntry(kind="output", name=name, draw=draw, volts=supply.max_volts, limits=limits)


def _output_limits(output: Output, supply: Supply, draw: Draw, others: Draw) -> Iterator[LimitUse]:
    if output.max_amps is not None:
        yield _use("output", output.max_amps, draw)
    # The plate's total is never one output's alone: what the others draw comes out of it.
    yield _use("others", max(0.0, winding_amps(supply) - others.running_amps), draw)


def _districts(
    layout: Layout, loads: _Loads, way_of: Mapping[str, ConductorRun], options: BudgetOptions
) -> Iterator[BudgetEntry]:
    for district in layout.district:
        draw, way = draw_of(loads[district.name], options), way_of[district.name]
        volts = output_volts(layout.output_named(district.supply, district.output), layout.supply_named(district.supply))
        yield BudgetEntry(
            kind="district",
            name=district.name,
            draw=draw,
            volts=volts,
            limits=() if way.feeder is None else (_use("feeder", ampacity_amps(way.feeder), draw),),
            loads=tuple(loads[district.name]),
            feeder=None
            if way == ConductorRun()
            else feeder_volts(way, volts, draw.worst_amps, drop_share=options.drop_share, celsius=options.celsius),
        )


def _ways(layout: Layout, plan: Plan, returns: Sequence[ReturnDrops]) -> dict[str, ConductorRun]:
    """Of each district; of a loop that was measured whole, only the neighbours' part of the shared return comes on top."""
    tracks = {track.district: track for track in plan.track}
    lost = {name: volts for each in returns for name, volts in each.lost_volts.items()}
    neighbours = {name: volts for each in returns for name, volts in each.neighbours_volts.items()}
    whole = {name for name, track in tracks.items() if track.loop_ohms is not None}
    return {
        d.name: ConductorRun(
            feeder=d.feeder,
            track=tracks.get(d.name),
            return_volts=neighbours.get(d.name) if d.name in whole else lost.get(d.name),
        )
        for d in layout.district
    }
