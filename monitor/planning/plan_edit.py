"""Changing the plan file beside a layout file, comments kept; it is made where it is not there."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import msgspec
import tomlkit
from tomlkit import TOMLDocument
from tomlkit.items import AoT, InlineTable

from monitor.errors import LayoutError
from monitor.layout import Layout, load_layout
from monitor.layout.load import read_text
from monitor.layout.write import write_text
from monitor.planning.bench_check import check_all
from monitor.planning.plan_file import Candidate, Plan, SetAside
from monitor.planning.plan_load import parse_plan, plan_path
from monitor.planning.terminals import TerminalFinding

HEAD = "# What planning needs beside the layout file; every key is optional.\n"
_DEFAULTS: dict[str, object] = {"rating_is": "output", "outputs": 1, "count": 1}


def add_candidate(layout_path: Path, candidate: Candidate) -> None:
    """Add a supply that could be bought.

    Raises:
        LayoutError: It cannot be, or the file cannot be written.
    """

    def change(document: TOMLDocument, _layout: Layout) -> None:
        table = tomlkit.table()
        for key in candidate.__struct_fields__:
            value = getattr(candidate, key)
            if isinstance(value, msgspec.Struct):
                value = {name: part for name, part in msgspec.to_builtins(value).items() if part not in (None, [])}
            if value is not None and value != _DEFAULTS.get(key):
                table[key] = value
        _tables(document, "candidate").append(table)

    _changed(layout_path, change)


def remove_candidate(layout_path: Path, name: str) -> None:
    """Take a candidate out.

    Raises:
        LayoutError: There is none of that name, or the file cannot be written.
    """

    def change(document: TOMLDocument, _layout: Layout) -> None:
        tables = _tables(document, "candidate")
        places = [k for k, table in enumerate(tables) if table.get("name") == name]
        if not places:
            raise LayoutError(f'there is no candidate "{name}"', source=str(plan_path(layout_path)))
        del tables[places[0]]
        if not len(tables):
            del document["candidate"]

    _changed(layout_path, change)


def keep_terminals(layout_path: Path, supply: str, found: TerminalFinding, *, rails: int) -> None:
    """Keep what was measured of a supply's terminals.

    Outputs of the layout file are matched by name where a terminal is called as the output is; else variable outputs take the variable
    terminals in order and constant ones the fixed terminals.

    Raises:
        LayoutError: No common was found, or the file cannot be written.
    """

    def change(document: TOMLDocument, layout: Layout) -> None:
        if found.common is None:
            raise LayoutError(
                "no common was found, so there is nothing to keep: name one by hand in the plan file's [[terminals]]"
            )
        table = tomlkit.table()
        table["supply"], table["common"] = supply, found.common
        table["hot"] = _inline(_hot(layout, supply, found))
        table["volts"] = _inline(_volts(found))
        tables = _tables(document, "terminals")
        for k in reversed([k for k, each in enumerate(tables) if each.get("supply") == supply]):
            del tables[k]
        tables.append(table)
        if rails != document.get("rails", 3):
            document["rails"] = rails

    _changed(layout_path, change)


def set_aside(layout_path: Path, supply: str, setting: SetAside | None, *, today: dt.date) -> None:
    """Set a bench check's verdict aside for one supply, or heed it again.

    Args:
        layout_path: The layout file.
        supply: The supply.
        setting: Who answers for it and why; None to heed the verdict again.
        today: For the bench check.

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
        tables = _tables(document, "set_aside")
        for k in reversed([k for k, each in enumerate(tables) if each.get("supply") == supply]):
            del tables[k]
        if setting is not None:
            table = tomlkit.table()
            table.update({key: getattr(setting, key) for key in setting.__struct_fields__})
            tables.append(table)
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


def _tables(document: TOMLDocument, key: str) -> AoT:
    if key not in document:
        document[key] = tomlkit.aot()
    tables = document[key]
    if not isinstance(tables, AoT):
        raise LayoutError("this has to be tables: correct it by hand", key=key)
    return tables


def _inline(values: dict[str, str]) -> InlineTable:
    table = tomlkit.inline_table()
    table.update(values)
    return table


def _hot(layout: Layout, supply: str, found: TerminalFinding) -> dict[str, str]:
    outputs = [output for output in layout.output if output.supply == supply]
    terminals = {"variable": list(found.variable), "constant": list(found.fixed)}
    hot = {output.name: output.name for output in outputs if output.name in (*found.variable, *found.fixed)}
    for output in outputs:
        left = [name for name in terminals[output.control] if name not in hot.values()]
        if output.name not in hot and left:
            hot[output.name] = left[0]
    return hot


def _volts(found: TerminalFinding) -> dict[str, str]:
    words = {}
    for name in (*found.variable, *found.fixed):
        low, high = sorted((abs(found.low_place_volts[name]), abs(found.high_place_volts[name])))
        words[name] = f"{low:.1f}-{high:.1f} V" if name in found.variable else f"{low:.1f} V"
    return words
