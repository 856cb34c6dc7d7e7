"""Editing a layout file's text without losing its comments or its order."""

from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.items import AoT, Table

from monitor.errors import LayoutError

Plain = str | int | float | bool


def set_supply_condition(text: str, supply: str, findings: Mapping[str, Plain]) -> str:
    """The text with what a bench check found; findings not named stay as they are.

    Raises:
        LayoutError: The file has no such supply.
    """
    document = tomlkit.parse(text)
    table = _named(document, "supply", supply)
    if "condition" not in table:
        table["condition"] = tomlkit.table()
    _set(table["condition"], findings)
    return tomlkit.dumps(document)


def set_load_draw(text: str, load: str, running_amps: float) -> str:
    """The text with a load's running draw replaced by a measured one.

    Raises:
        LayoutError: The file has no such load.
    """
    document = tomlkit.parse(text)
    _set(_named(document, "load", load), {"running_amps": round(running_amps, 2)})
    return tomlkit.dumps(document)


def set_calibration(text: str, board: str, channel: int, gain: float, zero: float) -> str:
    """The text with the calibration of one channel; that of other channels stays as it is.

    Args:
        text: The layout file.
        board: The board's name.
        channel: The channel's number.
        gain: Factor on the board's own scale.
        zero: Counts added to the board's own zero.
    """
    document = tomlkit.parse(text)
    if "calibration" not in document:
        document["calibration"] = tomlkit.table(is_super_table=True)
    boards: Any = document["calibration"]
    if board not in boards:
        boards[board] = tomlkit.table(is_super_table=True)
    channels = boards[board]
    if str(channel) not in channels:
        channels[str(channel)] = tomlkit.table()
    _set(channels[str(channel)], {"gain": round(gain, 5), "zero": round(zero, 2)})
    return tomlkit.dumps(document)


def _set(table: Any, values: Mapping[str, Plain]) -> None:  # noqa: ANN401 - the library's containers share no useful type
    for key, value in values.items():
        table[key] = value


def _named(document: tomlkit.TOMLDocument, kind: str, name: str) -> Table:
    tables = document.get(kind)
    for table in tables if isinstance(tables, AoT) else ():
        if isinstance(table, Table) and table.get("name") == name:
            return table
    raise LayoutError(f"the layout file has no such {kind}: check its name, or add a table for it", table=f'{kind} "{name}"')
