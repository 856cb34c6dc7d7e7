"""How much of its output and of its supply a district uses, and what a supply carries."""

from dataclasses import dataclass

from monitor.layout import District, Layout, Supply
from monitor.layout.ratings import usable_va, winding_amps
from monitor.runtime import DistrictNow


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputLoad:
    """What one output carries.

    Attributes:
        name: Its name on the supply.
        districts: The districts that hang on it.
        amps: Sum of their amps; None where none of them is known now.
        volt_amperes: Sum of their VA, likewise.
        limit_amps: The lower of its own limit and the winding current.
        clipped: A sensor's range ended somewhere: what is summed is a lower bound.
    """

    name: str
    districts: tuple[str, ...]
    amps: float | None
    volt_amperes: float | None
    limit_amps: float
    clipped: bool

    @property
    def share(self) -> float | None:
        """Amps over limit."""
        return None if self.amps is None else self.amps / self.limit_amps


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyShare:
    """What one supply carries.

    Attributes:
        allowed_va: What all outputs together may give: the plate's total, derated where it rates the primary side.
        unit: "VA" or "W", as the plate says.
        outputs: In the order of the layout file.
        unknown: Districts without live figures: the sum is a lower bound while there are any.
    """

    name: str
    allowed_va: float
    unit: str
    outputs: tuple[OutputLoad, ...]
    unknown: tuple[str, ...]

    @property
    def clipped(self) -> bool:
        """The sum is a lower bound, since a sensor's range ended somewhere."""
        return any(output.clipped for output in self.outputs)

    @property
    def volt_amperes(self) -> float | None:
        """Sum over its outputs; None where nothing is known now."""
        known = [output.volt_amperes for output in self.outputs if output.volt_amperes is not None]
        return sum(known) if known else None

    @property
    def share(self) -> float | None:
        """Of the nameplate."""
        total = self.volt_amperes
        return total / self.allowed_va if total is not None and self.allowed_va else None


def output_limit_amps(layout: Layout, supply: Supply, output_name: str) -> float:
    """The lower of the output's own limit and the winding current: usable VA over highest volts, at any throttle."""
    winding = winding_amps(supply)
    own = next((o.max_amps for o in layout.output if o.supply == supply.name and o.name == output_name), None)
    return winding if own is None else min(own, winding)


def supply_loads(layout: Layout, districts: tuple[DistrictNow, ...]) -> tuple[SupplyShare, ...]:
    """What each supply carries, from figures that are live."""
    now = {district.name: district for district in districts}
    return tuple(_supply_load(layout, supply, now) for supply in layout.supply)


def _supply_load(layout: Layout, supply: Supply, now: dict[str, DistrictNow]) -> SupplyShare:
    fed = layout.districts_of_supply(supply.name)
    outputs = [output.name for output in layout.output if output.supply == supply.name]
    return SupplyShare(
        name=supply.name,
        allowed_va=usable_va(supply),
        unit="VA" if supply.rated_va is not None else "W",
        outputs=tuple(_output_load(layout, supply, name, [d for d in fed if d.output == name], now) for name in outputs),
        unknown=tuple(d.name for d in fed if not _is_live(now[d.name])),
    )


def _output_load(layout: Layout, supply: Supply, name: str, fed: list[District], now: dict[str, DistrictNow]) -> OutputLoad:
    live = [now[d.name] for d in fed if _is_live(now[d.name])]
    return OutputLoad(
        name=name,
        districts=tuple(d.name for d in fed),
        amps=sum(d.amps_rms or 0.0 for d in live) if live else None,
        volt_amperes=sum(d.volt_amperes or 0.0 for d in live) if live else None,
        limit_amps=output_limit_amps(layout, supply, name),
        clipped=any(d.power_clipped for d in live),
    )


def _is_live(now: DistrictNow) -> bool:
    return not now.is_stale and now.volt_amperes is not None
