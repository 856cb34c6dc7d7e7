"""A layout's own supplies and districts as offers and needs for sharing."""

from collections.abc import Mapping, Sequence

from monitor.layout import Layout, Supply
from monitor.layout.ratings import usable_va, winding_amps
from monitor.planning.bench_check import Fitness, check_bench
from monitor.planning.budget import BudgetOptions, draw_of
from monitor.planning.sharing import Need, Offer

WANTED_VOLTS = {"track": 15.0, "accessories": 12.0}
"""Volts that are enough. Common practice, no published source: a supply a few volts lower just runs trains slower."""


def needs_of(layout: Layout, options: BudgetOptions | None = None) -> list[Need]:
    """Each district with all its loads running, as one need; the start of one load is left to the reserve."""
    options = options or BudgetOptions()
    needs = []
    for district in layout.district:
        loads = [load for load in layout.load if load.district == district.name]
        supply = layout.supply_named(district.supply)
        only_lamps = bool(loads) and all(load.kind == "lighting" for load in loads)
        needs.append(
            Need(
                name=district.name,
                use=district.use,
                current=None if only_lamps else supply.current,
                amps=draw_of(loads, options).running_amps,
                volts=min(supply.max_volts, WANTED_VOLTS[district.use]),
            )
        )
    return needs


def offers_of(
    layout: Layout, *, this_year: int, overrides: Sequence[str] = (), prices: Mapping[str, float] | None = None
) -> list[Offer]:
    """Every supply of the layout as an offer; those that the bench check did not find fit get no load unless overridden.

    Args:
        layout: The layout.
        this_year: For the bench check.
        overrides: Names of supplies that a person wants used all the same.
        prices: Price of supplies that would have to be bought; a supply without one is on hand.
    """
    return [
        _offer(layout, supply, this_year, supply.name in overrides, (prices or {}).get(supply.name, 0.0))
        for supply in layout.supply
    ]


def _offer(layout: Layout, supply: Supply, this_year: int, override: bool, price: float) -> Offer:  # noqa: FBT001 - private, read at once
    outputs = [output for output in layout.output if output.supply == supply.name]
    amps = winding_amps(supply)
    return Offer(
        name=supply.name,
        current=supply.current,
        usable_va=usable_va(supply),
        max_volts=supply.max_volts,
        output_amps=tuple(output.max_amps or amps for output in outputs) or (amps,),
        winding_amps=amps,
        price=price,
        fit=check_bench(supply, layout.mains, this_year=this_year).fitness <= Fitness.UNKNOWN,
        override=override,
    )
