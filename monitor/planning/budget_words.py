"""The budget as a table for a person, with what binds in words."""

from collections.abc import Iterator

from monitor.layout.joined_commons import COMMONS
from monitor.planning.budget import Budget, BudgetEntry, LimitUse
from monitor.planning.cautions import cautions_at
from monitor.planning.feeders import ReturnDrops
from monitor.planning.planned_loads import measured_words
from monitor.words.figures import percent


def budget_text(budget: Budget) -> str:
    """Plain text to print."""
    rows = [f"{'':33}{'typical':>16}{'all running':>18}{'with a start':>18}"]
    for entry in budget.entries:
        rows += _entry_rows(entry)
    for drops in budget.returns:
        rows += return_rows(drops)
    return "\n".join([*rows, "", *binding_words(budget), "", f"! {cautions_at('wiring')[0]}"]) + "\n"


def binding_words(budget: Budget) -> Iterator[str]:
    """What binds, and what must not be."""
    yield from verdict_words(budget)
    yield from budget.too_many_volts
    found = budget.binding
    if found is None:
        yield "Nothing draws yet: add [[load]] tables, or guess with the plan file's [[guess]]."
        return
    entry, limit = found
    yield f"Reached first: {entry.kind} {entry.name}, {limit.limit}, at {percent(limit.share)} with everything running."
    for other in budget.entries:
        for each in other.limits:
            yield from _over_words(other, each, budget.reserve)
    yield f"Reserve: {percent(budget.reserve)} of every limit stays free with everything running; pilotlamp share keeps the same."
    if budget.returns:
        yield COMMONS


def verdict_words(budget: Budget) -> Iterator[str]:
    """Which supplies the bench check takes out of the budget, and which a person put back in."""
    for entry in budget.entries:
        if entry.refused:
            yield f"NOT TO BE USED: {entry.name}. {entry.refused} Put no load on it: see pilotlamp bench."
        if entry.set_aside:
            yield f"! {entry.name} is {entry.set_aside}"


def _over_words(entry: BudgetEntry, limit: LimitUse, reserve: float) -> Iterator[str]:
    where = f"{entry.kind} {entry.name}, {limit.limit}"
    if limit.share > 1:
        yield f"OVER: {where}: {amount(limit, limit.drawn)}, {percent(limit.share)}."
        return
    if limit.kind != "others" and limit.share > 1 - reserve + 1e-9:
        yield f"Into the reserve: {where}: {amount(limit, limit.drawn)}, {percent(limit.share)}."
    if limit.worst_share > 1:
        yield f"For a moment over: {where}: a start on top makes {amount(limit, limit.worst)}."


def return_rows(drops: ReturnDrops) -> Iterator[str]:
    """A shared return in words."""
    worst = max(drops.lost_volts.items(), key=lambda pair: pair[1], default=None)
    if worst is None:
        return
    name, volts = worst
    yield (
        f"shared return {drops.name}: at worst {drops.most_amps:.1f} A in one stretch (wire: {drops.ampacity_amps:g} A); "
        f"{name} loses {volts:.1f} V in it, {drops.neighbours_volts[name]:+.1f} V of that by what others draw"
    )
    if drops.across_gaps_volts:
        yield (
            f"{'':9}! less is lost because supplies are in anti-phase: up to {drops.across_gaps_volts:g} V stand across the gaps between "
            "their districts, and a train that bridges one joins them. Put them in phase first (pilotlamp phase)"
        )
    if drops.better_awg is not None:
        yield f"{'':9}{drops.better_awg} AWG would bring that under the chosen loss"


def amount(limit: LimitUse, value: float) -> str:
    """How much of how much."""
    return f"{value:.1f} of {limit.allowed:.1f} A"


def _entry_rows(entry: BudgetEntry) -> Iterator[str]:
    draw = entry.draw
    figures = "".join(
        f"{amps:>{width}.1f} A {amps * entry.volts:>4.0f} VA"
        for amps, width in ((draw.typical_amps, 8), (draw.running_amps, 7), (draw.worst_amps, 7))
    )
    measured = f"   {measured_words(entry.loads)}" if entry.loads else ""
    yield f"{entry.kind:9}{entry.name[:23]:24}{figures}{measured}"
    for limit in entry.limits:
        over = "  OVER" if limit.share > 1 else ""
        yield (
            f"{'':9}{limit.limit[:30]:31}{percent(limit.typical_share):>9}{percent(limit.share):>17}{percent(limit.worst_share):>18}"
            f"   of {limit.allowed:.1f} A{over}"
        )
    for each in entry.loads:
        load = each.load
        yield f"{'':11}- {load.name}: {load.running_amps:g} A, starts at {load.starting_amps or load.running_amps:g} A ({each.source})"
    if entry.feeder is not None:
        yield f"{'':11}{entry.feeder.words}"
