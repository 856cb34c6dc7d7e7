"""Changing a layout file: its text without losing comments or order, and the file itself, whole and checked first."""

import errno
import os
import shutil
import tempfile
from collections.abc import Callable, Mapping, MutableMapping
from pathlib import Path
from typing import cast

import msgspec
import tomlkit
from tomlkit import TOMLDocument
from tomlkit.items import AoT, InlineTable, Table

from monitor.errors import LayoutError
from monitor.layout.line_mapping import LineMapping
from monitor.layout.load import parse_layout, read_text
from monitor.layout.schema import ChannelCalibration

CALIBRATION_DIGITS = {"gain": 5, "zero": 2, "gain_uncertainty": 4, "supply_volts": 3}
"""Keys of a calibration and the decimals that they are worth."""
Plain = str | int | float | bool | list[float]


def set_keys(text: str, table: str, name: str, values: Mapping[str, Plain]) -> str:
    """The text with keys of one named table set; comments, order and everything else stay as they are.

    Args:
        text: A layout file's text.
        table: "board", "supply", "district" or "load".
        name: The name of the one to change.
        values: Values by key, in SI units.

    Raises:
        LayoutError: There is no such table.
    """
    document = tomlkit.parse(text)
    _named(document, table, name).update(values)
    return tomlkit.dumps(document)


def set_supply_findings(text: str, supply: str, findings: Mapping[str, Plain]) -> str:
    """The text with what a bench check found; findings not named stay as they are.

    Args:
        text: A layout file's text.
        supply: The supply's name.
        findings: By key of its condition table; "protection.KEY" and "supply.KEY" for those of its protection and of itself.

    Raises:
        LayoutError: The file has no such supply.
    """
    document = tomlkit.parse(text)
    table = _named(document, "supply", supply)
    for place, value in findings.items():
        kind, _, key = place.rpartition(".")
        if kind == "supply":
            table[key] = value
        else:
            _table(table, kind or "condition")[key] = value
    return tomlkit.dumps(document)


def add_bench_record(text: str, supply: str, record: Mapping[str, Plain]) -> str:
    """The text with one more test, examination or repair of a supply.

    Raises:
        LayoutError: The file has no such supply.
    """
    document = tomlkit.parse(text)
    table = _named(document, "supply", supply)
    written = table.get("condition")
    if isinstance(written, InlineTable):
        table["condition"] = new_table(written.unwrap())  # a table on one line holds no further tables
    add_table(_table(table, "condition"), "record", record)
    return tomlkit.dumps(document)


def add_load(text: str, load: Mapping[str, Plain]) -> str:
    """The text with one more load at its end."""
    document = tomlkit.parse(text)
    add_table(document, "load", load)
    return tomlkit.dumps(document)


def set_protection(text: str, supply: str, kind: str, rated_amps: float | None) -> str:
    """The text with another protection in a supply; the curve and reset of the one before go with it.

    Raises:
        LayoutError: The file has no such supply.
    """
    document = tomlkit.parse(text)
    made = {"kind": kind} if rated_amps is None else {"kind": kind, "rated_amps": rated_amps}
    _named(document, "supply", supply)["protection"] = new_table(made)
    return tomlkit.dumps(document)


def set_load_draw(text: str, load: str, draw: Mapping[str, Plain]) -> str:
    """The text with a load's guessed draw replaced by the keys that were measured.

    Raises:
        LayoutError: The file has no such load.
    """
    rounded = {
        key: [round(each, 2) for each in value]
        if isinstance(value, list)
        else round(value, 2)
        if isinstance(value, float)
        else value
        for key, value in draw.items()
    }
    return set_keys(text, "load", load, rounded)


def set_calibration(text: str, board: str, channel: int, calibration: ChannelCalibration) -> str:
    """The text with what was found of one channel, and nothing else of it; those of other channels stay as they are.

    Raises:
        LayoutError: Something that is no table stands where the calibration has to stand.
    """
    document = tomlkit.parse(text)
    channels = _table(_table(document, "calibration", is_head=True), board, is_head=True)
    table = _table(channels, str(channel))
    for key, digits in CALIBRATION_DIGITS.items():
        value = getattr(calibration, key)
        if value is not None:
            table[key] = round(value, digits)
        elif key in table:
            del table[key]
    return tomlkit.dumps(document)


def set_board_lines(text: str, board: str, lines: LineMapping, baud: int) -> str:
    """The text with what the lines of a board mean, in place of what stood there before.

    Raises:
        LayoutError: The file has no such board.
    """
    document = tomlkit.parse(text)
    table = _named(document, "board", board)
    table["baud"] = baud
    table["lines"] = _lines_table(lines)
    table["lines"]["output"][-1].add(tomlkit.nl())
    return tomlkit.dumps(document)


def mapping_text(lines: LineMapping) -> str:
    """What the lines of a board mean, as it stands in a layout file below its [[board]]."""
    board = tomlkit.table(is_super_table=True)
    board["lines"] = _lines_table(lines)
    return tomlkit.dumps({"board": board}).strip()


def _lines_table(lines: LineMapping) -> Table:
    """Keys that are not at their defaults; whole figures without decimals."""
    plain = msgspec.to_builtins(lines)
    if lines.interval_ms is not None and float(lines.interval_ms).is_integer():
        plain["interval_ms"] = int(lines.interval_ms)
    outputs = tomlkit.aot()
    for output in plain.pop("output"):
        outputs.append(tomlkit.item(output))
    return new_table(plain | {"output": outputs})


def new_table(values: Mapping[str, object]) -> Table:
    """A table to put into a document."""
    made = tomlkit.table()
    made.update(values)
    return made


def tables_of(parent: TOMLDocument | Table, key: str) -> AoT:
    """The tables of a kind, made where there are none.

    Raises:
        LayoutError: Something else stands there.
    """
    if key not in parent:
        parent[key] = tomlkit.aot()
    tables = parent[key]
    if not isinstance(tables, AoT):
        raise LayoutError("this has to be tables: correct it by hand", key=key)
    return tables


def add_table(parent: TOMLDocument | Table, key: str, values: Mapping[str, object]) -> None:
    """One more table of a kind."""
    tables_of(parent, key).append(new_table(values))


def _named(document: TOMLDocument, kind: str, name: str) -> Table:
    tables = document.get(kind)
    for table in tables if isinstance(tables, AoT) else ():
        if isinstance(table, Table) and table.get("name") == name:
            return table
    raise LayoutError(f"the layout file has no such {kind}: check its name, or add a table for it", table=f'{kind} "{name}"')


def _table(parent: TOMLDocument | Table, key: str, *, is_head: bool = False) -> Table:
    """A table within another, made where it is not there; one that is but a head for others is not written itself."""
    if key not in parent:
        parent[key] = tomlkit.table(is_super_table=is_head)
    table = parent[key]
    if not isinstance(table, MutableMapping):  # inline and out-of-order tables are other classes
        raise LayoutError("this has to be a table: correct it by hand", key=key)
    return cast("Table", table)


def change_layout(path: Path, change: Callable[[str], str], *, spare: bool = True) -> None:
    """Change a layout file in place, checked before anything is replaced; it may be kept as it was as :func:`spare_path` names it.

    Raises:
        LayoutError: The file cannot be read or written, or what comes out is no layout.
    """
    text = read_text(path)
    changed = change(text)
    parse_layout(changed, source=str(path))
    if spare:
        _copied(path, spare_path(path))
    write_layout(path, changed)


def spare_path(path: Path) -> Path:
    """Where the file as it was is kept: LAYOUT.toml.before."""
    return path.with_suffix(path.suffix + ".before")


def _copied(path: Path, spare: Path) -> None:
    try:
        shutil.copyfile(path, spare)
    except OSError as error:
        raise LayoutError(
            f"the file as it was cannot be kept ({error.strerror}), so it was not changed: check the folder's rights",
            source=str(spare),
        ) from error


def write_layout(path: Path, text: str) -> None:
    """Put a layout text in place of a file, or make it; checked first, whole or not at all.

    Raises:
        LayoutError: The text is no layout, or the file cannot be written.
    """
    parse_layout(text, source=str(path))
    write_text(path, text)


def write_text(path: Path, text: str) -> None:
    """Put a text in place of a file, whole or not at all.

    Raises:
        LayoutError: It cannot be written.
    """
    try:
        _replace(_plain_target(path), text)
    except OSError as error:
        raise LayoutError(
            f"the file cannot be written ({error.strerror}): check the folder's rights and the room on the disk", source=str(path)
        ) from error


def _plain_target(path: Path) -> Path:
    """What is to be replaced: never a device or a folder, which root could replace."""
    try:
        target = path.resolve()
    except RuntimeError as error:  # what Python raised at a loop of links before 3.13
        raise OSError(errno.ELOOP, os.strerror(errno.ELOOP)) from error
    if target.exists() and not target.is_file():
        raise OSError(errno.EINVAL, "it is no plain file")
    return target


def _replace(target: Path, text: str) -> None:
    with tempfile.NamedTemporaryFile("w", encoding="utf-8", dir=target.parent, prefix=".layout-", delete=False) as made:
        new = Path(made.name)
        try:
            made.write(text)
            made.flush()
            os.fsync(made.fileno())
        except OSError:
            new.unlink()
            raise
    new.chmod(target.stat().st_mode & 0o777 if target.exists() else 0o644)
    new.replace(target)
