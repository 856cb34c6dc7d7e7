"""What was said lately: warnings with what was done about them, events, patterns, phasings, findings."""

from collections import OrderedDict
from typing import Protocol, TypeVar

from monitor.standing import StandingWarning
from monitor.values import Event, Finding, Pattern, Phasing, SlowFigure, Snapshot, Step
from monitor.values import Warning as RaisedWarning

KEPT = 200
"""Of each kind; the oldest go first."""
SNAPSHOT_BYTES_KEPT = 32_000_000
"""Samples around the latest events: all of KEPT on boards of four districts; the oldest go first, the session keeps them."""
FINDING_SHOWN_S = 60.0
"""A finding that ended stays in sight this long."""


class _Numbered(Protocol):
    @property
    def id(self) -> int: ...


N = TypeVar("N", bound=_Numbered)
K = TypeVar("K")
V = TypeVar("V")


class Notices:
    """Holds the last word about each thing; every list is bounded by KEPT."""

    def __init__(self) -> None:
        self._standing: OrderedDict[int, RaisedWarning] = OrderedDict()
        self._past: OrderedDict[int, RaisedWarning] = OrderedDict()
        self._events: OrderedDict[int, Event] = OrderedDict()
        self._findings: OrderedDict[int, Finding] = OrderedDict()
        self._patterns: OrderedDict[tuple[str, ...], Pattern] = OrderedDict()
        self._phasings: OrderedDict[tuple[str, str], Phasing] = OrderedDict()
        self._snapshots: OrderedDict[int, Snapshot] = OrderedDict()
        self._slow: OrderedDict[tuple[str, str], SlowFigure] = OrderedDict()
        self._muted_until_s: float | None = None

    def add(self, step: Step) -> None:
        """Take one step."""
        for warning in step.warnings:
            self._add_warning(warning)
        for action in step.actions:
            if action.kind in ("mute", "unmute"):
                self._muted_until_s = action.until_s if action.kind == "mute" else None
        for event in step.events:
            _put(self._events, event)
        for finding in step.findings:
            _put(self._findings, finding)
        self._add_diagnosis(step)
        for phasing in step.phasings:
            self._phasings[phasing.supplies] = phasing
            _trim(self._phasings)

    def _add_diagnosis(self, step: Step) -> None:
        for pattern in step.patterns:
            # A pattern replaces every earlier one of any of its districts.
            for districts in [earlier for earlier in self._patterns if set(earlier) & set(pattern.districts)]:
                del self._patterns[districts]
            self._patterns[pattern.districts] = pattern
            _trim(self._patterns)
        for snapshot in step.snapshots:
            self._snapshots[snapshot.event_id] = snapshot
            _trim(self._snapshots)
            while len(self._snapshots) > 1 and sum(each.values.nbytes for each in self._snapshots.values()) > SNAPSHOT_BYTES_KEPT:
                self._snapshots.popitem(last=False)
        for figure in step.slow_figures:
            self._slow[figure.kind, figure.name] = figure
            _trim(self._slow)

    def standing(self, now_s: float) -> tuple[StandingWarning, ...]:
        """Warnings that stand: highest priority first, then newest first."""
        found = [
            StandingWarning(
                warning=warning,
                acknowledged=warning.state == "acknowledged",
                shelved_until_s=until_s if (until_s := warning.shelved_until_s) is not None and until_s > now_s else None,
            )
            for warning in self._standing.values()
        ]
        return tuple(sorted(found, key=lambda standing: (-standing.warning.priority, -standing.warning.start_s)))

    def past_warnings(self) -> tuple[RaisedWarning, ...]:
        """Warnings that cleared lately, newest first."""
        return tuple(reversed(self._past.values()))

    def events(self) -> tuple[Event, ...]:
        """The latest events, newest first."""
        return tuple(reversed(self._events.values()))

    def snapshot(self, event_id: int) -> Snapshot | None:
        """Samples around an event; None where there are none any more."""
        return self._snapshots.get(event_id)

    def slow_figures(self) -> tuple[SlowFigure, ...]:
        """The latest of each kind and name."""
        return tuple(self._slow.values())

    def findings(self, now_s: float) -> tuple[Finding, ...]:
        """Findings that go on or ended lately, newest first."""
        found = self._findings.values()
        return tuple(f for f in reversed(found) if f.end_s is None or now_s - f.end_s <= FINDING_SHOWN_S)

    def patterns(self) -> tuple[Pattern, ...]:
        """Patterns as they now stand."""
        return tuple(self._patterns.values())

    def phasings(self) -> tuple[Phasing, ...]:
        """Phasings as they now stand."""
        return tuple(self._phasings.values())

    def muted_until_s(self, now_s: float) -> float | None:
        """When the mute ends; None where nothing is muted."""
        return self._muted_until_s if self._muted_until_s is not None and self._muted_until_s > now_s else None

    def _add_warning(self, warning: RaisedWarning) -> None:
        if warning.end_s is None:
            _put(self._standing, warning)
        else:
            self._standing.pop(warning.id, None)
            _put(self._past, warning)


def _put(kept: OrderedDict[int, N], thing: N) -> None:
    """The last word about a thing; it keeps its place in the order."""
    kept[thing.id] = thing
    _trim(kept)


def _trim(kept: OrderedDict[K, V]) -> None:
    while len(kept) > KEPT:
        kept.popitem(last=False)
