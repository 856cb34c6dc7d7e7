"""The power budget: what the loads draw, typical and at worst, against every limit, and the volts that arrive.

Worst case: everything runs and the load with the heaviest start starts on top. Typical: a stated share of each kind runs at once.
Volt-amperes are amps times the supply's highest volts, since the budget has to hold with the throttle up.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from monitor.layout import District, Feeder, Layout, Load, Supply
from monitor.layout.conductors import WARM_CELSIUS, ampacity_amps, awg_area_mm2, loop_ohms, ohms_per_m
from monitor.layout.ratings import usable_va, winding_amps

GAUGES_TO_BUY = tuple(range(24, 8, -2))


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetOptions:
    """How to reckon.

    Attributes:
        at_once: Share of each kind of load that typically runs at once (common practice, no published source).
        drop_share: Chosen limit of the volts lost in a feeder, share of the supply's highest volts (common practice: 5 %).
        celsius: Temperature of the feeders' copper.
    """

    at_once: dict[str, float] = field(default_factory=lambda: {"locomotive": 0.8, "lighting": 1.0, "accessory": 0.3})
    drop_share: float = 0.05
    celsius: float = WARM_CELSIUS


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitUse:
    """One limit and how much of it is used at worst.

    Attributes:
        limit: Its name in words.
        allowed: Amps or volt-amperes allowed.
        drawn: The same, drawn at worst.
        unit: "A" or "VA".
    """

    limit: str
    allowed: float
    drawn: float
    unit: str

    @property
    def share(self) -> float:
        """Drawn over allowed."""
        return self.drawn / self.allowed


@dataclass(frozen=True, slots=True, kw_only=True)
class Draw:
    """A draw in amps: typical, with everything running, and at worst with a start on top."""

    typical_amps: float
    running_amps: float
    worst_amps: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FeederVolts:
    """What a feeder loses at worst.

    Attributes:
        lost_volts: At worst-case amps, out and back.
        arriving_volts: Of the supply's highest volts.
        lost_share: Share of the highest volts.
        better_awg: Thinnest listed gauge that keeps the loss under the chosen limit; None where the present wire does or none would.
    """

    lost_volts: float
    arriving_volts: float
    lost_share: float
    better_awg: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetEntry:
    """The budget of one district, output or supply.

    Attributes:
        kind: "district", "output" or "supply".
        name: Its name; an output is written SUPPLY/OUTPUT.
        draw: What it draws.
        limits: Every limit that bears on it, the tightest first.
        feeder: Volts lost on the way, for a district with a feeder.
    """

    kind: str
    name: str
    draw: Draw
    limits: tuple[LimitUse, ...]
    feeder: FeederVolts | None = None

    @property
    def binding(self) -> LimitUse | None:
        """The limit that is reached first."""
        return self.limits[0] if self.limits else None


def reckon(layout: Layout, options: BudgetOptions | None = None) -> list[BudgetEntry]:
    """The whole budget: supplies, then outputs, then districts, in file order."""
    options = options or BudgetOptions()
    loads = {district.name: [load for load in layout.load if load.district == district.name] for district in layout.district}
    return [*_supplies(layout, loads, options), *_outputs(layout, loads, options), *_districts(layout, loads, options)]


def draw_of(loads: Sequence[Load], options: BudgetOptions) -> Draw:
    """What a group of loads draws."""
    running = sum(load.running_amps for load in loads)
    start = max((max(0.0, (load.starting_amps or load.running_amps) - load.running_amps) for load in loads), default=0.0)
    typical = sum(load.running_amps * options.at_once.get(load.kind, 1.0) for load in loads)
    return Draw(typical_amps=typical, running_amps=running, worst_amps=running + start)


_Loads = dict[str, list[Load]]


def _of(loads: _Loads, districts: Iterable[District]) -> list[Load]:
    return [load for district in districts for load in loads[district.name]]


def _tightest(limits: Iterable[LimitUse]) -> tuple[LimitUse, ...]:
    return tuple(sorted(limits, key=lambda limit: -limit.share))


def _supplies(layout: Layout, loads: _Loads, options: BudgetOptions) -> Iterator[BudgetEntry]:
    for supply in layout.supply:
        draw = draw_of(_of(loads, layout.districts_of_supply(supply.name)), options)
        yield BudgetEntry(kind="supply", name=supply.name, draw=draw, limits=_tightest(_supply_limits(supply, draw)))


def _supply_limits(supply: Supply, draw: Draw) -> Iterator[LimitUse]:
    # A start lasts a moment: the plate and the winding are judged by what runs, the protection's rating likewise.
    yield LimitUse(limit="nameplate total", allowed=usable_va(supply), drawn=draw.running_amps * supply.max_volts, unit="VA")
    yield LimitUse(limit="winding current", allowed=winding_amps(supply), drawn=draw.running_amps, unit="A")
    if supply.protection is not None and supply.protection.rated_amps is not None:
        yield LimitUse(limit="protection rating", allowed=supply.protection.rated_amps, drawn=draw.running_amps, unit="A")


def _outputs(layout: Layout, loads: _Loads, options: BudgetOptions) -> Iterator[BudgetEntry]:
    for output in layout.output:
        name = f"{output.supply}/{output.name}"
        draw = draw_of(_of(loads, (district for district in layout.district if district.output_name == name)), options)
        own = (
            []
            if output.max_amps is None
            else [LimitUse(limit="output limit", allowed=output.max_amps, drawn=draw.running_amps, unit="A")]
        )
        yield BudgetEntry(kind="output", name=name, draw=draw, limits=tuple(own))


def _districts(layout: Layout, loads: _Loads, options: BudgetOptions) -> Iterator[BudgetEntry]:
    for district in layout.district:
        draw = draw_of(loads[district.name], options)
        feeder = district.feeder
        limits: tuple[LimitUse, ...] = ()
        volts = None
        if feeder is not None:
            limits = (LimitUse(limit="feeder ampacity", allowed=ampacity_amps(feeder), drawn=draw.running_amps, unit="A"),)
            volts = feeder_volts(feeder, layout.supply_named(district.supply).max_volts, draw.worst_amps, options)
        yield BudgetEntry(kind="district", name=district.name, draw=draw, limits=limits, feeder=volts)


def feeder_volts(feeder: Feeder, supply_volts: float, amps: float, options: BudgetOptions) -> FeederVolts:
    """Volts lost and arriving at the far end of a feeder (Ohm's law, out and back; the load taken as constant current)."""
    lost = amps * loop_ohms(feeder, options.celsius)
    better = None
    if lost > options.drop_share * supply_volts:
        allowed_ohms = options.drop_share * supply_volts / amps
        fitting = (
            awg for awg in GAUGES_TO_BUY if 2 * feeder.one_way_m * ohms_per_m(awg_area_mm2(awg), options.celsius) <= allowed_ohms
        )
        better = next(fitting, None)
    return FeederVolts(lost_volts=lost, arriving_volts=supply_volts - lost, lost_share=lost / supply_volts, better_awg=better)


def budget_text(entries: Sequence[BudgetEntry]) -> str:
    """The budget as a table for a person, the limits that bind in words."""
    rows = [f"{'':9}{'':24}{'typical':>9}{'running':>9}{'at worst':>9}   tightest limit"]
    for entry in entries:
        draw, binding = entry.draw, entry.binding
        words = (
            ""
            if binding is None
            else f"{binding.limit}: {binding.drawn:.1f} of {binding.allowed:.1f} {binding.unit} ({binding.share:.0%})"
        )
        mark = "  OVER" if binding is not None and binding.share > 1 else ""
        rows.append(
            f"{entry.kind:9}{entry.name[:23]:24}{draw.typical_amps:7.1f} A{draw.running_amps:7.1f} A{draw.worst_amps:7.1f} A   {words}{mark}"
        )
        if entry.feeder is not None:
            rows.append(f"{'':33}{_feeder_words(entry.feeder)}")
    return "\n".join(rows) + "\n"


def _feeder_words(volts: FeederVolts) -> str:
    words = f"feeder loses {volts.lost_volts:.1f} V ({volts.lost_share:.0%}) at worst, {volts.arriving_volts:.1f} V arrive"
    return words if volts.better_awg is None else f"{words}; {volts.better_awg} AWG would bring that under the chosen loss"
