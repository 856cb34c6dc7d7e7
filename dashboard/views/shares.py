"""How much of its output a district uses, and what a supply carries."""

from dataclasses import dataclass

from monitor.layout import Layout, Supply
from monitor.layout.ratings import winding_amps
from monitor.standing import DistrictNow


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputLoad:
    """What one output carries.

    Attributes:
        amps: Sum of its districts' amps; None where none of them is known now.
        volt_amperes: Sum of their VA, likewise.
        limit_amps: The lower of its own limit and the winding current.
        clipped: A sensor's range ended somewhere: what is summed is a lower bound.
    """

    amps: float | None
    volt_amperes: float | None
    limit_amps: float
    clipped: bool

    @property
    def share(self) -> float | None:
        """Amps over limit."""
        return None if self.amps is None else self.amps / self.limit_amps


def output_limit_amps(layout: Layout, supply: Supply, output_name: str) -> float:
    """The lower of the output's own limit and the winding current: usable VA over highest volts, at any throttle."""
    winding = winding_amps(supply)
    own = next((o.max_amps for o in layout.output if o.supply == supply.name and o.name == output_name), None)
    return winding if own is None else min(own, winding)


def output_loads(layout: Layout, supply: Supply, districts: tuple[DistrictNow, ...]) -> list[OutputLoad]:
    """What each output of a supply carries, in the order of the layout file, from figures that are live."""
    live = {now.name: now for now in districts if not now.is_stale and now.volt_amperes is not None}
    fed = layout.districts_of_supply(supply.name)
    loads = []
    for output in (output.name for output in layout.output if output.supply == supply.name):
        on_it = [live[d.name] for d in fed if d.output == output and d.name in live]
        loads.append(
            OutputLoad(
                amps=sum(now.amps_rms or 0.0 for now in on_it) if on_it else None,
                volt_amperes=sum(now.volt_amperes or 0.0 for now in on_it) if on_it else None,
                limit_amps=output_limit_amps(layout, supply, output),
                clipped=any(now.power_clipped for now in on_it),
            )
        )
    return loads
