"""Writing the layout file without losing a word of what a person wrote into it."""

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

import tomlkit
from tomlkit import TOMLDocument
from tomlkit.items import AoT, Table

from monitor.errors import LayoutError
from monitor.layout.load import parse_layout

Figure = str | int | float | bool


def write_layout(path: Path, text: str) -> None:
    """Put a layout text in place of a file, whole or not at all.

    Args:
        path: The file; made where it is not there.
        text: TOML; checked first, so that a file that works is never replaced by one that does not.

    Raises:
        LayoutError: The text is no layout, or the file cannot be written.
    """
    parse_layout(text, source=str(path))
    try:
        _replace(path.resolve(), text)
    except OSError as error:
        raise LayoutError(
            f"the file cannot be written ({error.strerror}): check the folder's rights and the room on the disk", source=str(path)
        ) from error


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


def with_keys(text: str, table: str, name: str, figures: Mapping[str, Figure]) -> str:
    """The text with keys of one table set; comments, order and everything else stay as they are.

    Args:
        text: A layout file's text.
        table: "board", "supply", "district" or "load".
        name: The name of the one to change.
        figures: Values by key, in SI units.

    Raises:
        LayoutError: There is no such table.
    """
    document = tomlkit.parse(text)
    tables = document.get(table)
    found = [entry for entry in tables if entry.get("name") == name] if isinstance(tables, AoT) else []
    if not found:
        raise LayoutError("there is no such table to change", table=f'{table} "{name}"')
    for key, value in figures.items():
        found[0][key] = value
    return tomlkit.dumps(document)


def with_calibration(text: str, board: str, channel: int, *, gain: float, zero_counts: float) -> str:
    """The text with the correction of one channel set; everything else stays as it is.

    Args:
        text: A layout file's text.
        board: The board's name.
        channel: Its channel.
        gain: Factor on the board's own scale.
        zero_counts: Counts added to the board's own zero.
    """
    document = tomlkit.parse(text)
    channels = _table(_table(document, "calibration"), board)
    correction = _table(channels, str(channel), is_leaf=True)
    correction["gain"] = gain
    correction["zero"] = zero_counts
    return tomlkit.dumps(document)


def _table(parent: TOMLDocument | Table, key: str, *, is_leaf: bool = False) -> Table:
    """A table within another, made where it is not there."""
    if key not in parent:
        parent[key] = tomlkit.table(is_super_table=not is_leaf)
    table = parent[key]
    if not isinstance(table, Table):
        raise LayoutError("this has to be a table: correct it by hand", key=key)
    return table
