"""Changing the plan file beside a layout file, comments kept; it is made where it is not there."""

import datetime as dt
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import tomlkit
from tomlkit import TOMLDocument
from tomlkit.items import AoT, InlineTable

from monitor.errors import LayoutError
from monitor.layout import Layout, Output, Supply, load_layout
from monitor.layout.edit import add_table, new_table, tables_of, write_text
from monitor.layout.load import read_text
from monitor.layout.ratings import output_current
from monitor.planning.bench_check import check_all
from monitor.planning.plan_file import Candidate, Plan, SetAside
from monitor.planning.plan_load import parse_plan, plan_path
from monitor.planning.terminal_commons import TerminalWinding
from monitor.planning.terminals import TerminalFinding, post_volts

HEAD = "# What planning needs beside the layout file; every key is optional.\n"


def add_candidate(layout_path: Path, candidate: Candidate) -> None:
    """Add a supply that could be bought.

    Raises:
        LayoutError: It cannot be, or the file cannot be written.
    """

    def change(document: TOMLDocument, _layout: Layout) -> None:
        add_table(document, "candidate", msgspec.to_builtins(candidate))

    _changed(layout_path, change)


def remove_candidate(layout_path: Path, name: str) -> None:
    """Take a candidate out.

    Raises:
        LayoutError: There is none of that name, or the file cannot be written.
    """

    def change(document: TOMLDocument, _layout: Layout) -> None:
        tables = tables_of(document, "candidate")
        places = [k for k, table in enumerate(tables) if table.get("name") == name]
        if not places:
            raise LayoutError(f'there is no candidate "{name}"', source=str(plan_path(layout_path)))
        del tables[places[0]]
        if not len(tables):
            del document["candidate"]

    _changed(layout_path, change)


def keep_terminals(layout_path: Path, supply: str, found: TerminalFinding, *, rails: int) -> None:
    """Keep what was measured of a supply's terminals, as far as it was decided.

    Outputs of the layout file that give what the meter was set to (AC or DC) are matched by name where a post is called as the output is;
    else variable outputs take the variable posts in order and constant ones the others. What was kept for the other outputs stays.

    Raises:
        LayoutError: Nothing was decided, or the file cannot be written.
    """

    def change(document: TOMLDocument, layout: Layout) -> None:
        if not found.decided:
            raise LayoutError("nothing is decided yet, so there is nothing to keep: measure what is asked for first")
        tables = tables_of(document, "terminals")
        kept = [dict(each.unwrap()) for each in tables if each.get("supply") == supply]
        _take_out(tables, supply)
        measured = _terminals_table(layout, layout.supply_named(supply), found, kept[0] if kept else {})
        tables.append(new_table({"supply": supply, **measured}))
        if rails != document.get("rails", 3):
            document["rails"] = rails

    _changed(layout_path, change)


def _terminals_table(layout: Layout, supply: Supply, found: TerminalFinding, kept: dict[str, Any]) -> dict[str, object]:
    """Keys of the plan file's table, with what was kept for outputs that this meter does not see."""
    outputs = [output for output in layout.output if output.supply == supply.name]
    seen = [output for output in outputs if output_current(output, supply) == found.readings.meter]
    others = {output.name for output in outputs} - {output.name for output in seen}
    hot = {name: post for name, post in kept.get("hot", {}).items() if name in others}
    commons = {name: kept.get("other_commons", {}).get(name, kept["common"]) for name in hot}
    volts = {post: kept.get("volts", {}).get(post, "") for post in hot.values()}
    alone = [name for name in kept.get("alone", []) if name in hot]
    for name, post, winding in _matched(seen, found):
        hot[name], commons[name] = post, winding.chosen
        alone += [name] if winding.common is None else []
    for winding in found.windings:
        volts |= post_volts(winding)
    common = found.windings[0].chosen if supply.current == found.readings.meter or not kept else kept["common"]
    table: dict[str, object] = {"common": common, "hot": _inline(hot), "volts": _inline(volts)}
    apart = {name: its for name, its in commons.items() if its != common}
    return table | ({"other_commons": _inline(apart)} if apart else {}) | ({"alone": alone} if alone else {})


def _matched(outputs: list[Output], found: TerminalFinding) -> Iterator[tuple[str, str, TerminalWinding]]:
    """Output name, hot post and winding."""
    posts = {
        "variable": [(each.post, winding) for winding in found.windings for each in winding.variable],
        "constant": [(each.post, winding) for winding in found.windings for each in winding.constant],
    }
    winding_of = dict(posts["variable"] + posts["constant"])
    taken = {output.name for output in outputs if output.name in winding_of}
    for output in outputs:
        left = [post for post, _ in posts[output.control] if post not in taken]
        post = output.name if output.name in winding_of else left[0] if left else None
        if post is not None:
            taken.add(post)
            yield output.name, post, winding_of[post]


def set_aside(layout_path: Path, supply: str, setting: SetAside | None, *, today: dt.date) -> None:
    """Set a bench check's verdict aside for one supply, or heed it again where there is no setting.

    Raises:
        LayoutError: There is no such supply, its verdict is one that no reason sets aside, or the file cannot be written.
    """

    def change(document: TOMLDocument, layout: Layout) -> None:
        verdict = next((each for each in check_all(layout, Plan(), today=today) if each.supply == supply), None)
        if verdict is None:
            raise LayoutError(f'there is no supply "{supply}": check its name', source=str(layout_path))
        final = next((reason for reason in verdict.reasons if reason.is_final), None)
        if setting is not None and final is not None:
            raise LayoutError(f"no reason sets this aside. {final.finding} {final.remedy}", table=f'supply "{supply}"')
        tables = tables_of(document, "set_aside")
        _take_out(tables, supply)
        if setting is not None:
            tables.append(new_table(msgspec.to_builtins(setting)))
        if not len(tables):
            del document["set_aside"]

    _changed(layout_path, change)


def _changed(layout_path: Path, change: Callable[[TOMLDocument, Layout], None]) -> None:
    layout = load_layout(layout_path)
    path = plan_path(layout_path)
    document = tomlkit.parse(read_text(path) if path.exists() else HEAD)
    change(document, layout)
    text = tomlkit.dumps(document)
    parse_plan(text, layout, source=str(path))
    write_text(path, text)


def _take_out(tables: AoT, supply: str) -> None:
    for k in reversed([k for k, each in enumerate(tables) if each.get("supply") == supply]):
        del tables[k]


def _inline(values: dict[str, str]) -> InlineTable:
    table = tomlkit.inline_table()
    table.update(values)
    return table
