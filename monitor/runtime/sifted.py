"""What sifting a stream found, as lines for programs and as a table for a person."""

from collections.abc import Callable, Iterator
from dataclasses import asdict
from typing import TYPE_CHECKING

from monitor.layout import Layout
from monitor.runtime.summary import Summary
from monitor.values import Event, Finding, Foreseen, Pattern, Phasing, Step
from monitor.values import Warning as RaisedWarning
from monitor.words.figures import percent

if TYPE_CHECKING:
    from monitor.runtime.would_open import Verdict, WouldOpen

Line = dict[str, object]


class Sifted:
    """Collects steps; the last word about each warning, event, finding and pattern stands.

    Args:
        layout: The layout file.
        sink: Takes each step too.
        would_open: Holds protections against what was recorded, where that is asked.

    Attributes:
        summary: Set by the caller once the stream has ended.
    """

    def __init__(self, layout: Layout, sink: Callable[[Step], None] | None = None, would_open: "WouldOpen | None" = None) -> None:
        self._layout = layout
        self._sink, self._would_open = sink, would_open
        self._foreseen: list[Foreseen] = []
        self._warnings: dict[int, RaisedWarning] = {}
        self._events: dict[int, Event] = {}
        self._findings: dict[int, Finding] = {}
        self._patterns: dict[tuple[str, ...], Pattern] = {}
        self._phasings: dict[tuple[str, str], Phasing] = {}
        self.summary: Summary | None = None

    def add(self, step: Step) -> None:
        """Take one step."""
        self._warnings.update((warning.id, warning) for warning in step.warnings)
        self._events.update((event.id, event) for event in step.events)
        self._findings.update((finding.id, finding) for finding in step.findings)
        for pattern in step.patterns:
            self._replace(pattern)
        self._phasings.update((phasing.supplies, phasing) for phasing in step.phasings)
        self._foreseen += step.foreseen
        if self._would_open is not None:
            self._would_open.take(step)
        if self._sink is not None:
            self._sink(step)

    def _replace(self, pattern: Pattern) -> None:
        """A pattern replaces every earlier one of any of its districts."""
        others = {districts: old for districts, old in self._patterns.items() if not set(districts) & set(pattern.districts)}
        self._patterns = others | {pattern.districts: pattern}

    def lines(self) -> Iterator[Line]:
        """One object a line, ordered by start_s, the summary last."""
        found: list[tuple[float, Line]] = [
            *((event.start_s, _event(event)) for event in self._events.values()),
            *((warning.start_s, _warning(warning)) for warning in self._warnings.values()),
            *((pattern.start_s, _pattern(pattern)) for pattern in self._patterns.values()),
            *((phasing.start_s, _phasing(phasing)) for phasing in self._phasings.values()),
            *((finding.start_s, _finding(finding)) for finding in self._findings.values()),
            *((foreseen.at_s, _forecast(foreseen)) for foreseen in self._foreseen),
            *((verdict.at_s or 0.0, _would_open(verdict)) for verdict in self._verdicts() if verdict.tells_opening),
        ]
        found.sort(key=lambda pair: pair[0])
        yield from (line for _, line in found)
        if self.summary is not None:
            yield {"kind": "summary", **asdict(self.summary)}

    def table(self) -> str:
        """A short table for a person."""
        rows = [_row(line) for line in self.lines() if line["kind"] not in ("summary", "would-open")]
        answers = [f"{'' if each.at_s is None else f'{each.at_s:9.2f}  '}{each.sentence}" for each in self._verdicts()]
        return "\n".join([*rows, *answers, *self._summary_rows()]) + "\n"

    def _verdicts(self) -> "tuple[Verdict, ...]":
        return () if self._would_open is None else self._would_open.verdicts()

    def _summary_rows(self) -> Iterator[str]:
        if self.summary is None:
            return
        yield f"{self.summary.duration_s:.1f} s in all"
        yield f"{'district':20}{'volts':>8}{'lowest':>8}{'amps':>8}{'highest':>9}{'VA max':>8}{'Wh':>8}{'lost s':>8}"
        for name, district in self.summary.districts.items():
            of_volts, of_amps = district.volts_clipped, district.amps_clipped
            figures = (
                (district.volts_mean, of_volts, 8), (district.volts_min, False, 8), (district.amps_mean, of_amps, 8),
                (district.amps_max, of_amps, 9), (district.va_max, of_volts or of_amps, 8), (district.energy_wh, of_volts or of_amps, 8),
            )  # fmt: skip
            cells = "".join(f"{'>=' * is_bound}{_figure(value)}".rjust(width) for value, is_bound, width in figures)
            yield f"{name[:19]:20}{cells}{district.lost_s:8.1f}"
        yield f"{'supply':20}{'VA mean':>8}{'VA max':>8}{'of plate':>9}"
        for name, supply in self.summary.supplies.items():
            share = "-" if supply.share_of_rating_max is None else f"{percent(supply.share_of_rating_max)}"
            yield f"{name[:19]:20}{_figure(supply.va_mean):>8}{_figure(supply.va_max):>8}{share:>9}"


def _figure(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"


def _row(line: Line) -> str:
    start_s, end_s = line.get("start_s", line.get("at_s")), line.get("end_s")
    when = f"{start_s:9.2f}" if isinstance(start_s, float) else " " * 9
    until = f"{end_s:9.2f}" if isinstance(end_s, float) else f"{'':>9}"
    where = line.get("district") or line.get("output") or line.get("supply") or line.get("board")
    where = where or ", ".join(map(str, line.get("districts") or line.get("supplies") or ()))  # type: ignore[call-overload]
    what = line.get("cause") or line.get("rule") or line.get("verdict") or line.get("finding")
    if line["kind"] == "forecast":
        what = "opens in {opens_in_s} s ({earliest_s} to {latest_s})".format_map(line).replace("None", "never")
    return f"{when}{until}  {line['kind']:8} {where:22} {what:16} {line.get('message', '')}".rstrip()


def _named(thing: object, names: str) -> Line:
    """Some fields under their own names."""
    return {name: getattr(thing, name) for name in names.split()}


def _event(event: Event) -> Line:
    place = {"kind": "event", "district": event.district, "cause": event.cause.value, "fault": event.cause.is_fault}
    return {**place, **_named(event, "start_s end_s confidence"), "evidence": dict(event.evidence)}


def _warning(warning: RaisedWarning) -> Line:
    head = {"kind": "warning", "rule": warning.rule, "priority": warning.priority.word, warning.scope.kind: warning.scope.name}
    return {**head, **_named(warning, "start_s end_s trip_in_s message advice")}


def _forecast(foreseen: Foreseen) -> Line:
    forecast = foreseen.forecast
    return {
        "kind": "forecast",
        "supply": foreseen.supply,
        "at_s": round(foreseen.at_s, 3),
        "opens_in_s": round(forecast.in_s, 2),
        "earliest_s": round(forecast.earliest_s, 2),
        "latest_s": None if forecast.latest_s is None else round(forecast.latest_s, 2),
        "is_late": forecast.is_late,
    }


def _would_open(verdict: "Verdict") -> Line:
    return {
        "kind": "would-open",
        "supply": verdict.supply,
        "at_s": None if verdict.at_s is None else round(verdict.at_s, 3),
        "in_recording": verdict.recorded_s is not None,
        "confidence": verdict.confidence,
        "recorded_s": verdict.recorded_s,
        "message": verdict.sentence,
    }


def _pattern(pattern: Pattern) -> Line:
    head = {"kind": "pattern", "verdict": pattern.verdict, "districts": list(pattern.districts)}
    return {**head, **_named(pattern, "events lap_s lap_fraction p_value start_s")}


def _phasing(phasing: Phasing) -> Line:
    head = {"kind": "phasing", "supplies": list(phasing.supplies)}
    return {**head, **_named(phasing, "verdict difference_volts degrees start_s")}


def _finding(finding: Finding) -> Line:
    head = {"kind": "sensor", "board": finding.board, "channel": finding.channel, "finding": finding.kind.value}
    message = f"{finding.count}: {finding.check}" if finding.count > 1 else finding.check
    return {**head, **_named(finding, "start_s end_s count"), "message": message}
