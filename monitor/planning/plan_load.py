"""Reading the plan file, and what its shape alone cannot say: names that point nowhere, returns that hang on nothing."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import msgspec

from monitor.errors import LayoutError
from monitor.layout import Layout, Supply, load_layout
from monitor.layout.check import TableError, points_nowhere
from monitor.layout.load import parse_tables, read_text
from monitor.planning.bench_check import BenchVerdict, check_all, refused, today_here
from monitor.planning.plan_file import Candidate, CommonReturn, Plan
from monitor.planning.planned_loads import TYPICAL_DRAWS


def changed_plan(plan: Plan, changes: Mapping[str, object]) -> Plan:
    """A plan with some of its keys changed.

    Raises:
        LayoutError: A value is one that the key cannot have.
    """
    try:
        return msgspec.convert({**msgspec.to_builtins(plan), **changes}, Plan)
    except msgspec.ValidationError as error:
        raise LayoutError(f"{', '.join(changes)}: {str(error).split(' - at')[0]}: correct it") from error


def plan_path(layout_path: Path) -> Path:
    """Where the plan file of a layout file is: ``show.plan.toml`` for ``show.toml``."""
    return layout_path.with_suffix(".plan.toml")


def load_plan(layout_path: Path, layout: Layout, plan: Path | None = None) -> Plan:
    """The plan of a layout file, the defaults where it has none; another plan file has to be there.

    Raises:
        LayoutError: The file cannot be read, or says something that cannot be.
    """
    path = plan or plan_path(layout_path)
    if plan is None and not path.exists():
        return Plan()
    return parse_plan(read_text(path), layout, source=str(path))


@dataclass(frozen=True, slots=True)
class PlannedLayout:
    """A layout file, the plan file beside it, and what the bench check says today."""

    layout: Layout
    plan: Plan
    verdicts: tuple[BenchVerdict, ...]


def load_planned(layout_path: Path, plan: Path | None = None, changes: Mapping[str, object] | None = None) -> PlannedLayout:
    """All of it; arguments as for :func:`load_plan`, and keys of the plan that stand in place of its own unless they are None.

    Raises:
        LayoutError: One of the files cannot be read, or says something that cannot be.
    """
    layout = load_layout(layout_path)
    found = load_plan(layout_path, layout, plan)
    if changes:
        found = changed_plan(found, {key: value for key, value in changes.items() if value is not None})
    return PlannedLayout(layout, found, check_all(layout, found, today=today_here()))


def measurable_supply(layout_path: Path, name: str) -> Supply:
    """A supply of a layout whose terminals may be measured live.

    Raises:
        LayoutError: There is no such supply, or the bench check does not pass it.
    """
    planned = load_planned(layout_path)
    supply = next((each for each in planned.layout.supply if each.name == name), None)
    if supply is None:
        names = ", ".join(each.name for each in planned.layout.supply)
        raise LayoutError(f'say which supply this is: one of {names}, not "{name}"')
    why = refused(planned.verdicts).get(name)
    if why is not None:
        raise LayoutError(f"{name} is not to be measured live. {why}")
    return supply


def parse_plan(text: str, layout: Layout, *, source: str | None = None) -> Plan:
    """Check the text of a plan file against its layout.

    Raises:
        LayoutError: It says something that cannot be; the message names table, key and remedy.
    """
    plan = parse_tables(text, Plan, source=source)
    for table, key, message in _errors(plan, layout):
        raise LayoutError(message, source=source, table=table, key=key)
    return plan


def _errors(plan: Plan, layout: Layout) -> Iterator[TableError]:
    supplies = [supply.name for supply in layout.supply]
    for key, names in (("prices", plan.prices), ("phased", [n for g in plan.phased for n in g])):
        yield from points_nowhere(None, key, names, supplies)
    taken = set(supplies)
    for candidate in plan.candidate:
        yield from _candidate_errors(candidate, taken)
        taken.add(candidate.name)
    yield from points_nowhere("set_aside", "supply", [each.supply for each in plan.set_aside], supplies)
    for guess in plan.guess:
        yield from points_nowhere("guess", "district", [guess.district], [district.name for district in layout.district])
        yield from points_nowhere("guess", "like", [guess.like], [draw.name for draw in TYPICAL_DRAWS])
    yield from _way_errors(plan, layout)
    for terminals in plan.terminals:
        yield from points_nowhere("terminals", "supply", [terminals.supply], supplies)
        outputs = [output.name for output in layout.output if output.supply == terminals.supply]
        yield from points_nowhere("terminals", "hot", [*terminals.hot, *terminals.other_commons, *terminals.alone], outputs)


def _way_errors(plan: Plan, layout: Layout) -> Iterator[TableError]:
    for common in plan.common:
        yield from _common_errors(common, layout)
        for name in {name for group in plan.phased for name in group} & set(common.opposed):
            yield (
                f'common "{common.name}"',
                "opposed",
                f'"{name}" is in phased, too: it is one or the other, so take it out of one',
            )
    for track in plan.track:
        yield from points_nowhere("track", "district", [track.district], [district.name for district in layout.district])
        if (track.loop_ohms is None) == (track.ohms_per_m is None or track.metres is None):
            yield f'track "{track.district}"', "loop_ohms", "give either loop_ohms as measured, or ohms_per_m and metres"


def _candidate_errors(candidate: Candidate, taken: set[str]) -> Iterator[TableError]:
    table = f'candidate "{candidate.name}"'
    if candidate.name in taken:
        yield table, "name", "a supply or another candidate has this name: give it one of its own"
    if (candidate.rated_va is None) == (candidate.rated_watts is None):
        yield table, "rated_va", "give exactly one of rated_va and rated_watts, as the nameplate reads"


def _common_errors(common: CommonReturn, layout: Layout) -> Iterator[TableError]:
    table = f'common "{common.name}"'
    if (common.awg is None) == (common.mm2 is None):
        yield table, "awg", "give exactly one of awg and mm2 for its wire"
    supplies = [tap.supply for tap in common.tap if tap.supply is not None]
    districts = [tap.district for tap in common.tap if tap.district is not None]
    if any((tap.supply is None) == (tap.district is None) for tap in common.tap):
        yield table, "tap", "each tap joins either a supply or a district: give one of the two"
    yield from points_nowhere(table, "tap", supplies, [supply.name for supply in layout.supply])
    yield from points_nowhere(table, "tap", districts, [district.name for district in layout.district])
    yield from points_nowhere(table, "opposed", common.opposed, supplies)
    for name in [name for names in (supplies, districts) for name in sorted({n for n in names if names.count(n) > 1})]:
        yield table, "tap", f'"{name}" is joined twice: once is enough'
    for district in (district for district in layout.district if district.name in districts and district.supply not in supplies):
        yield (
            table,
            "tap",
            f'district "{district.name}" is fed by {district.supply}, whose common is not joined: add a tap for it',
        )
    if len({layout.supply_named(name).current for name in supplies if name in [s.name for s in layout.supply]}) > 1:
        yield table, "tap", "AC and DC supplies do not share a return: keep them on wires of their own"
    if common.ring_m is not None and any(tap.at_m > common.ring_m for tap in common.tap):
        yield table, "ring_m", "a tap lies beyond the end of the ring: correct at_m or ring_m"
