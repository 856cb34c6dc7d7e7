"""The power budget: what the loads draw, typical and at worst, against every limit, and the volts that arrive.

Worst case: everything runs and the load with the heaviest start starts on top. Typical: a stated share of each kind runs at once.
Volt-amperes are amps times the supply's highest volts, since the budget has to hold with the throttle up.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from monitor.layout import District, Layout, Output, Supply
from monitor.layout.conductors import WARM_CELSIUS, ampacity_amps
from monitor.layout.ratings import usable_va, winding_amps
from monitor.planning.bench_check import BenchVerdict
from monitor.planning.common_return import ReturnDrops, return_drops
from monitor.planning.feeders import FeederVolts, feeder_volts
from monitor.planning.plan_file import Plan
from monitor.planning.planned_loads import PlannedLoad, planned_loads

AT_ONCE = {"locomotive": 0.8, "lighting": 1.0, "accessory": 0.3}
"""Share of each kind of load that typically runs at once: common practice, no published source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetOptions:
    """How to reckon.

    Attributes:
        at_once: Share of each kind of load that typically runs at once.
        drop_share: Chosen limit of the volts lost on the way, share of the supply's highest volts (common practice: 5 %).
        celsius: Temperature of the feeders' copper.
        refused: By supply: why no load may be put on it.
        set_aside: By supply: a verdict that a person set aside.
    """

    at_once: Mapping[str, float] = field(default_factory=lambda: dict(AT_ONCE))
    drop_share: float = 0.05
    celsius: float = WARM_CELSIUS
    refused: Mapping[str, str] = field(default_factory=dict)
    set_aside: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def of_plan(cls, plan: Plan, verdicts: Sequence[BenchVerdict] = ()) -> "BudgetOptions":
        """As a plan file says, with supplies refused that the bench check did not find fit, unless a person set its verdict aside."""
        aside = {each.supply: each.words for each in plan.set_aside}
        refused = {verdict.supply: verdict.why for verdict in verdicts if not verdict.is_fit}
        return cls(
            at_once={**AT_ONCE, **{str(kind): share for kind, share in plan.at_once.items()}},
            drop_share=plan.drop_share,
            celsius=plan.celsius,
            refused={name: why for name, why in refused.items() if name not in aside},
            set_aside={name: f"{aside[name]}. {why}" for name, why in refused.items() if name in aside},
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitUse:
    """One limit and how much of it is used.

    Attributes:
        limit: Its name in words.
        allowed: Amps or volt-amperes allowed.
        typical: What is typically drawn.
        drawn: With everything running.
        worst: With the heaviest start on top, for a moment.
        unit: "A" or "VA".
    """

    limit: str
    allowed: float
    typical: float
    drawn: float
    worst: float
    unit: str

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
        draw: What it draws.
        volts: Highest volts of the supply, at which volt-amperes are reckoned.
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
    """

    entries: tuple[BudgetEntry, ...]
    returns: tuple[ReturnDrops, ...]

    @property
    def binding(self) -> tuple[BudgetEntry, LimitUse] | None:
        """Where which limit is reached first on the whole layout; None where nothing draws."""
        found = [(entry, entry.binding) for entry in self.entries if entry.binding is not None and entry.binding.drawn > 0]
        return max(found, key=lambda pair: pair[1].share, default=None)


def reckon(layout: Layout, options: BudgetOptions | None = None, plan: Plan | None = None) -> Budget:
    """The whole budget.

    Args:
        layout: The layout.
        options: How to reckon; as the plan says when None.
        plan: The plan file; guessed loads and shared returns come from it.
    """
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
        *_districts(layout, loads, options, returns),
    )
    return Budget(entries=entries, returns=returns)


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


def _amps_limit(limit: str, allowed: float, draw: Draw) -> LimitUse:
    return LimitUse(
        limit=limit, allowed=allowed, typical=draw.typical_amps, drawn=draw.running_amps, worst=draw.worst_amps, unit="A"
    )


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
    volts = supply.max_volts
    yield LimitUse(
        limit="nameplate total",
        allowed=usable_va(supply),
        typical=draw.typical_amps * volts,
        drawn=draw.running_amps * volts,
        worst=draw.worst_amps * volts,
        unit="VA",
    )
    yield _amps_limit("winding current", winding_amps(supply), draw)
    if supply.protection is not None and supply.protection.rated_amps is not None:
        yield _amps_limit("protection rating", supply.protection.rated_amps, draw)


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
        yield _amps_limit("output's own limit", output.max_amps, draw)
    # The plate's total is never one output's alone: what the others draw comes out of it.
    yield _amps_limit("what the other outputs leave", max(0.0, winding_amps(supply) - others.running_amps), draw)


def _districts(layout: Layout, loads: _Loads, options: BudgetOptions, returns: Sequence[ReturnDrops]) -> Iterator[BudgetEntry]:
    back = {name: volts for each in returns for name, volts in each.lost_volts.items()}
    for district in layout.district:
        draw = draw_of(loads[district.name], options)
        supply = layout.supply_named(district.supply)
        feeder = district.feeder
        limits = () if feeder is None else (_amps_limit("feeder ampacity", ampacity_amps(feeder), draw),)
        volts = None
        if feeder is not None or district.name in back:
            volts = feeder_volts(
                feeder,
                supply.max_volts,
                draw.worst_amps,
                drop_share=options.drop_share,
                celsius=options.celsius,
                return_volts=back.get(district.name),
            )
        yield BudgetEntry(
            kind="district",
            name=district.name,
            draw=draw,
            volts=supply.max_volts,
            limits=limits,
            loads=tuple(loads[district.name]),
            feeder=volts,
        )
