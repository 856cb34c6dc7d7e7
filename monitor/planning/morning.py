"""The show-morning list: one page to print and tick off."""

from collections.abc import Iterator, Sequence

from monitor.layout import Layout
from monitor.planning.bench_check import BenchVerdict
from monitor.planning.budget import Budget, BudgetEntry
from monitor.planning.cautions import cautions_at


def morning_list(
    layout: Layout, verdicts: Sequence[BenchVerdict], budget: Budget, troubles: Sequence[str] = (), day: str = ""
) -> str:
    """The list as plain text.

    Args:
        layout: The layout.
        verdicts: Of the bench checks.
        budget: The power budget.
        troubles: What was open after the shows before, one sentence each.
        day: The day of those shows, for a person; empty where nothing was recorded.
    """
    rows = [f"Show morning: {layout.title}", ""]
    rows += [f"[ ] {item}" for item in morning_items(layout, verdicts, budget)]
    rows += ["", f"Still open from {day or 'last time'}:"]
    rows += [f"[ ] From last time: {trouble}" for trouble in troubles] or [nothing_open(day)]
    rows += ["", "Before the doors open:", *(f"[ ] {caution}" for caution in cautions_at("show"))]
    rows += ["", "pilotlamp advises. The breaker protects the house and the person, not the trains."]
    return "\n".join(rows) + "\n"


def power_down_items(layout: Layout) -> Iterator[str]:
    """The list for the evening, in order. Common practice, no published source."""
    yield "Trains stopped where they belong, every throttle down; a mark set at the end of the show."
    yield "Smoke units off and cool; engines with batteries switched off."
    yield from (f"{supply.name}: switched off; case no more than hand-warm, no smell, cord cool." for supply in layout.supply)
    yield "The strip switched off at its marked switch; every indicator dark."
    yield "The strip's plug out of the wall; the plugs within the strip stay as they are marked."
    yield "Batteries off their chargers; nothing left charging."
    yield "What went wrong is written down or marked on the page; the recording ended (it comes along tomorrow morning)."
    yield "A last look and smell a quarter of an hour later, before the room is locked."


def nothing_open(day: str) -> str:
    """What to say where nothing is open."""
    return "    Nothing: every trouble has a mark of repair after it." if day else "    Nothing is known: no show was recorded."


def morning_items(layout: Layout, verdicts: Sequence[BenchVerdict], budget: Budget) -> Iterator[str]:
    """The items of the list, in the order of a morning; arguments as for :func:`morning_list`."""
    yield from map(_verdict_item, verdicts)
    for entry in budget.entries:
        yield from _budget_items(entry, budget.reserve)
    for drops in budget.returns:
        if drops.better_awg is not None:
            yield f"Shared return {drops.name}: too thin for this, {drops.better_awg} AWG would do. Run fewer trains at once on it."
    yield "All supplies on one switched strip, in a wall socket; plugs marked and none pulled alone."
    for board in layout.board:
        yield f'Sensor board "{board.name}": plugged in, every reading near zero with the throttles down.'
    yield from (f"{d.name}: rails wiped, one engine round once, no stall." for d in layout.district if d.use == "track")
    yield "Accessories: volts set to about 12 V or 16 V as each wants, checked with a meter (common practice)."
    yield "Recording on, a mark set at the start of the show."


def _verdict_item(verdict: BenchVerdict) -> str:
    if verdict.is_fit:
        return f"{verdict.supply}: look at cord, plug and case once more before switching on."
    return f"{verdict.supply}: {verdict.why}"


def _budget_items(entry: BudgetEntry, reserve: float) -> Iterator[str]:
    if entry.refused and entry.draw.running_amps > 0:
        yield f"{entry.name}: not to be used, so move its districts to another supply (pilotlamp share)."
    if entry.set_aside:
        yield f"! {entry.name}: {entry.set_aside}"
    binding = entry.binding
    if binding is not None and binding.share > 1 - reserve + 1e-9:
        yield f"{entry.name}: {binding.limit} at {binding.share:.0%} with everything running. Leave something off."
    if entry.feeder is not None and entry.feeder.lost_share > 0.05:
        yield f"{entry.name}: {entry.feeder.lost_volts:.1f} V are lost on the way at worst. Expect slow trains at the far end."
