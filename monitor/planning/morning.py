"""The show-morning list, one page to print and tick off, with the troubles that the last shows left open.

A mark counts as a repair of its district, and of its district's supply; one without a district counts for what it names. What went on
after the last such mark is open.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from monitor.layout import Layout
from monitor.planning.bench_check import BenchVerdict
from monitor.planning.budget import Budget, BudgetEntry
from monitor.planning.cautions import cautions_at
from monitor.values import Action, Event, Finding, FindingKind, Pattern, Priority
from monitor.values import Warning as RaisedWarning
from monitor.words.figures import percent

WORTH_A_LINE = Priority.MEDIUM
SENSOR_TROUBLES = frozenset({
    FindingKind.STUCK, FindingKind.REVERSED, FindingKind.CROSSED, FindingKind.CLIPPED, FindingKind.ZERO_DRIFT,
    FindingKind.SUPPLY_LOW, FindingKind.NOISY, FindingKind.IMPLAUSIBLE,
    FindingKind.PULSES, FindingKind.OTHER_MAINS, FindingKind.SUPPLY_WANDERS,
})  # fmt: skip
"""Those that a person has to mend; gaps and damaged bytes come and go."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PastShow:
    """One recorded session, as far as troubles go."""

    day: str
    events: Sequence[Event] = ()
    warnings: Sequence[RaisedWarning] = ()
    patterns: Sequence[Pattern] = ()
    findings: Sequence[Finding] = ()
    marks: Sequence[Action] = ()


@dataclass(frozen=True, slots=True)
class _Moment:
    """When something was: which show, and second of it."""

    show: int
    at_s: float

    def __lt__(self, other: "_Moment") -> bool:
        return (self.show, self.at_s) < (other.show, other.at_s)


def open_troubles(layout: Layout, shows: Sequence[PastShow]) -> list[str]:
    """One sentence for each trouble without a mark of repair after it, the most frequent first; shows come oldest first."""
    if not shows:
        return []
    repaired = _repairs(layout, shows)
    return [
        *_stalls(layout, shows, repaired),
        *_spots(layout, shows, repaired),
        *_warnings(layout, shows, repaired),
        *_sensors(shows[-1]),
    ]


_Repaired = dict[str, _Moment]
"""By name of district or supply: the last mark."""


def _repairs(layout: Layout, shows: Sequence[PastShow]) -> _Repaired:
    repaired: _Repaired = {}
    supply_of = {district.name: district.supply for district in layout.district}
    names = {*supply_of, *supply_of.values()}
    for k, show in enumerate(shows):
        for mark in sorted(show.marks, key=lambda mark: mark.at_s):
            named = {name for name in names if name.lower() in mark.text.lower()}
            for name in {mark.district} & names if mark.district is not None else named:
                repaired[name] = _Moment(k, mark.at_s)
                if name in supply_of:
                    repaired[supply_of[name]] = _Moment(k, mark.at_s)
    return repaired


def _is_open(name: str, moment: _Moment, repaired: _Repaired) -> bool:
    return name not in repaired or repaired[name] < moment


def _stalls(layout: Layout, shows: Sequence[PastShow], repaired: _Repaired) -> Iterator[str]:
    known = {district.name for district in layout.district}
    found: dict[tuple[str, str], list[int]] = {}
    for k, show in enumerate(shows):
        for event in show.events:
            if event.cause.is_fault and event.district in known and _is_open(event.district, _Moment(k, event.start_s), repaired):
                found.setdefault((event.district, event.cause.value), []).append(k)
    for (district, cause), of_show in sorted(found.items(), key=lambda pair: -len(pair[1])):
        yield f"{district}: {cause.replace('-', ' ')} {_times(len(of_show))}, last on {shows[max(of_show)].day}."


def _spots(layout: Layout, shows: Sequence[PastShow], repaired: _Repaired) -> Iterator[str]:
    known = {district.name for district in layout.district}
    latest: dict[tuple[str, ...], tuple[_Moment, Pattern]] = {}
    for k, show in enumerate(shows):
        for pattern in show.patterns:
            if pattern.verdict != "scattered":
                latest[pattern.districts] = (_Moment(k, pattern.start_s), pattern)
    for districts, (moment, pattern) in latest.items():
        # A pattern begins with its first event: repaired is what was marked after that.
        still = [name for name in districts if name in known and (name not in repaired or repaired[name].show < moment.show)]
        if still and pattern.verdict == "fixed-spot":
            where = "" if pattern.lap_fraction is None else f", {pattern.lap_fraction:.2f} of a lap on"
            yield f"{' and '.join(still)}: {pattern.events} of these at one spot{where}: look there first."
        elif still:
            yield f"{' and '.join(still)}: {pattern.events} of these follow one train: look at it, not at the track."


def _warnings(layout: Layout, shows: Sequence[PastShow], repaired: _Repaired) -> Iterator[str]:
    known = {supply.name for supply in layout.supply} | {district.name for district in layout.district}
    found: dict[str, list[tuple[int, RaisedWarning]]] = {}
    for k, show in enumerate(shows):
        for warning in show.warnings:
            name = warning.scope.name.split("/")[0]
            if warning.priority >= WORTH_A_LINE and name in known and _is_open(name, _Moment(k, warning.start_s), repaired):
                found.setdefault(name, []).append((k, warning))
    for name, raised in found.items():
        k, worst = max(raised, key=lambda pair: (pair[1].priority, pair[0], pair[1].start_s))
        yield f"{name}: {_times(len(raised))} a warning of {worst.priority.word} priority at most, on {shows[k].day}: {worst.message}"


def _sensors(show: PastShow) -> Iterator[str]:
    for finding in show.findings:
        if finding.end_s is None and finding.kind in SENSOR_TROUBLES:
            channel = "" if finding.channel is None else f", channel {finding.channel}"
            yield f"Sensor board {finding.board}{channel}: {finding.kind.value.replace('-', ' ')} to the end of {show.day}. {finding.check}"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def morning_list(
    layout: Layout, verdicts: Sequence[BenchVerdict], budget: Budget, troubles: Sequence[str] = (), day: str = ""
) -> str:
    """The list as plain text, with what was open after the shows of a day; the day is empty where nothing was recorded."""
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
        yield f"{entry.name}: {binding.limit} at {percent(binding.share)} with everything running. Leave something off."
    if entry.feeder is not None and entry.feeder.lost_share > 0.05:
        yield f"{entry.name}: {entry.feeder.lost_volts:.1f} V are lost on the way at worst. Expect slow trains at the far end."
