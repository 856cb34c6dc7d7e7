"""Warnings that stand, put together place by place; those that are over and unseen; floods."""

from collections.abc import Iterable, Sequence
from typing import Literal

from monitor.layout import Layout
from monitor.protection import thresholds as limits
from monitor.standing import thresholds as th
from monitor.standing.seen import Seen, StandingWarning
from monitor.standing.states import URGENCY, Flood, LatchedWarning, Level, Notice
from monitor.standing.words import DRAW_RULES, first_sentence
from monitor.values import Priority, Scope
from monitor.values import Warning as RaisedWarning

LEVEL_OF_PRIORITY = {Priority.LOW: Level.LOW, Priority.MEDIUM: Level.MEDIUM, Priority.HIGH: Level.HIGH}
KIND_OF_RULE: dict[str, Literal["short", "opening"]] = {"short": "short", "protection-open": "opening"}
WORST_FIRST = ("short", "opening", "overload")


def urgency(*levels: Level) -> Level:
    """The most urgent of some levels."""
    return max(levels, key=URGENCY.index)


def notices(layout: Layout, seen: Seen) -> tuple[Notice, ...]:
    """Warnings that stand, worst first, then newest first; those put aside last. Of one place, what says the same is one."""
    groups: dict[tuple[Scope, str], list[StandingWarning]] = {}
    for standing in seen.warnings:
        warning = standing.warning
        if warning.rule != "flood":
            groups.setdefault((warning.scope, "" if warning.rule in DRAW_RULES else warning.rule), []).append(standing)
    found = [_notice(layout, group) for group in groups.values()]
    return tuple(sorted(found, key=lambda n: (n.shelved_until_s is not None, -URGENCY.index(n.level), -n.start_s)))


def _notice(layout: Layout, group: Sequence[StandingWarning]) -> Notice:
    # What was put aside leads only where all of it was; an opening says more than a rating.
    ranked = sorted(group, key=lambda s: (s.shelved_until_s is not None, -s.warning.priority, s.warning.rule != "trip-forecast"))
    lead, heard = ranked[0], [s for s in ranked if s.shelved_until_s is None] or ranked
    warning = lead.warning
    figure = first_sentence(warning.message)
    return Notice(
        ids=tuple(standing.warning.id for standing in ranked),
        rule=warning.rule,
        level=LEVEL_OF_PRIORITY[warning.priority],
        kind=warning.scope.kind,
        where=warning.scope.name,
        supply=supply_of(layout, warning.scope),
        start_s=min(standing.warning.start_s for standing in group),
        figure=figure,
        limit=warning.limit,
        source=warning.message[len(figure) :].strip(),
        advice=warning.advice,
        opens_as_raised_s=None if warning.trip_in_s is None else warning.start_s + warning.trip_in_s,
        time_words=warning.time_words,
        acknowledged=all(standing.acknowledged for standing in heard),
        shelved_until_s=lead.shelved_until_s,
        first_out=any(standing.warning.first_out for standing in group),
        comes_and_goes=any(standing.warning.comes_and_goes for standing in group),
    )


def supply_of(layout: Layout, scope: Scope) -> str:
    """The supply that a place belongs to; empty where the layout does not know the place."""
    if scope.kind == "district":
        return next((row.supply for row in layout.district if row.name == scope.name), "")
    outputs = {f"{output.supply}/{output.name}": output.supply for output in layout.output}
    return scope.name if scope.kind == "supply" else outputs.get(scope.name, "")


def latched(layout: Layout, seen: Seen) -> tuple[LatchedWarning, ...]:
    """What asked for somebody at once, is over and was not seen (ISA-18.2: returned to normal, not acknowledged), newest first."""
    groups: dict[str, list[RaisedWarning]] = {}
    for warning in seen.past_warnings:
        if is_unseen(warning) and asks_at_once(warning) and seen.now_s - ended_s(warning) <= th.LATCHED_S:
            groups.setdefault(supply_of(layout, warning.scope), []).append(warning)
    found = [_latched(supply, group) for supply, group in groups.items()]
    return tuple(sorted(found, key=lambda each: -each.end_s))


def _latched(supply: str, group: Sequence[RaisedWarning]) -> LatchedWarning:
    ranked = sorted(group, key=lambda warning: (WORST_FIRST.index(_kind(warning)), -ended_s(warning)))
    return LatchedWarning(
        ids=tuple(warning.id for warning in ranked),
        kind=_kind(ranked[0]),
        where=ranked[0].scope.name,
        supply=supply,
        start_s=ranked[0].start_s,
        end_s=ended_s(ranked[0]),
    )


def _kind(warning: RaisedWarning) -> Literal["short", "opening", "overload"]:
    return KIND_OF_RULE.get(warning.rule, "overload")


def asks_at_once(warning: RaisedWarning) -> bool:
    """An act-now, or an opening: what no one should miss."""
    return warning.priority >= Priority.HIGH or warning.rule == "protection-open"


def is_unseen(warning: RaisedWarning) -> bool:
    """Whether a warning that is over asked for somebody and has not been marked as seen."""
    return warning.state == "returned" and warning.priority > Priority.LOW


def ended_s(warning: RaisedWarning) -> float:
    """When a warning that is over ended."""
    return warning.start_s if warning.end_s is None else warning.end_s


def flood(seen: Seen) -> Flood | None:
    """More warnings than a person can follow, counted now: the alarms say whether it lasts, the first of it is looked up here."""
    told = next((s for s in seen.warnings if s.warning.rule == "flood" and s.shelved_until_s is None), None)
    if told is None:
        return None
    from_s = seen.now_s - limits.FLOOD_WITHIN_S
    lately = sorted(_rises(seen, from_s), key=lambda warning: warning.id)
    first = next((warning for warning in lately if warning.first_out), lately[0] if lately else None)
    return Flood(
        ids=(told.warning.id,),
        count=len(lately),
        start_s=told.warning.start_s,
        first_where=first.scope.name if first is not None else "",
    )


def _rises(seen: Seen, from_s: float) -> Iterable[RaisedWarning]:
    everything = (*(standing.warning for standing in seen.warnings), *seen.past_warnings)
    return (warning for warning in everything if warning.rule != "flood" and warning.start_s > from_s)
