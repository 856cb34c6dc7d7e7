"""The show-morning list: one page to print and tick off."""

from collections.abc import Iterator, Sequence

from monitor.layout import Layout
from monitor.planning.bench_check import BenchVerdict, Fitness
from monitor.planning.budget import BudgetEntry


def morning_list(
    layout: Layout, verdicts: Sequence[BenchVerdict], budget: Sequence[BudgetEntry], troubles: Sequence[str] = ()
) -> str:
    """The list as plain text.

    Args:
        layout: The layout.
        verdicts: Of the bench checks.
        budget: The power budget.
        troubles: What was open after the session before, one sentence each.
    """
    rows = [f"Show morning: {layout.title}", ""]
    rows += [f"[ ] {item}" for item in morning_items(layout, verdicts, budget, troubles)]
    rows += ["", "pilotlamp advises. The breaker protects; local codes and licensed practice come first."]
    return "\n".join(rows) + "\n"


def morning_items(
    layout: Layout, verdicts: Sequence[BenchVerdict], budget: Sequence[BudgetEntry], troubles: Sequence[str] = ()
) -> Iterator[str]:
    """The items of the list, in the order of a morning; arguments as for :func:`morning_list`."""
    yield from map(_verdict_item, verdicts)
    for entry in budget:
        yield from _budget_items(entry)
    yield "All supplies on one switched strip; plugs marked and none pulled alone."
    for board in layout.board:
        yield f'Sensor board "{board.name}": plugged in, every reading near zero with the throttles down.'
    yield from (f"{d.name}: rails wiped, one engine round once, no stall." for d in layout.district if d.use == "track")
    yield from (f"From last time: {trouble}" for trouble in troubles)
    yield "Recording on, a mark set at the start of the show."


def _verdict_item(verdict: BenchVerdict) -> str:
    if verdict.fitness is Fitness.FIT:
        return f"{verdict.supply}: look at cord, plug and case once more before switching on."
    why = verdict.reasons[0].finding if verdict.reasons else verdict.open_questions[0]
    return f"{verdict.supply}: {verdict.fitness.sentence}. {why}"


def _budget_items(entry: BudgetEntry) -> Iterator[str]:
    binding = entry.binding
    if binding is not None and binding.share > 0.8:
        yield f"{entry.name}: {binding.limit} at {binding.share:.0%} with everything running. Leave something off."
    if entry.feeder is not None and entry.feeder.lost_share > 0.05:
        yield f"{entry.name}: the feeder loses {entry.feeder.lost_volts:.1f} V at worst. Expect slow trains at the far end."
