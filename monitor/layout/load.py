"""Reading the layout file, with errors that name the file, the table, the key and the remedy."""

import re
import tomllib
from pathlib import Path
from typing import TypeVar

import msgspec

from monitor.errors import LayoutError
from monitor.layout.check import check_layout
from monitor.layout.schema import Layout

SIZE_LIMIT_BYTES = 1_000_000
_PATH = re.compile(r"`\$\.?(?P<path>[^`]*)`")
_STEP = re.compile(r"([A-Za-z_0-9]+)|\[(\d+)\]|\[\.\.\.\]")


Kind = TypeVar("Kind", bound=msgspec.Struct)


def load_layout(path: Path) -> Layout:
    """Read and check a layout file.

    Raises:
        LayoutError: The file cannot be read, is not TOML, or says something that cannot be.
    """
    return parse_layout(read_text(path), source=str(path))


def read_text(path: Path) -> str:
    """The text of a layout file or of one that goes with it.

    Raises:
        LayoutError: The file cannot be read.
    """
    try:
        if path.stat().st_size > SIZE_LIMIT_BYTES:
            raise LayoutError("the file is larger than a layout can be: is this the right file?", source=str(path))
        return path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise LayoutError(
            "there is no such file: check the name, or write one with 'pilotlamp layout new'", source=str(path)
        ) from error
    except UnicodeDecodeError as error:
        raise LayoutError("the file is not UTF-8 text: save it as plain UTF-8 text", source=str(path)) from error
    except OSError as error:
        raise LayoutError(f"the file cannot be read ({error.strerror}): check its rights", source=str(path)) from error


def parse_layout(text: str, *, source: str | None = None) -> Layout:
    """Check the text of a layout file.

    Args:
        text: TOML.
        source: The file's name for messages.

    Raises:
        LayoutError: As for :func:`load_layout`.
    """
    layout = parse_tables(text, Layout, source=source)
    check_layout(layout, source=source)
    return layout


def parse_tables(text: str, kind: type[Kind], *, source: str | None = None) -> Kind:
    """TOML as a value of a kind; what holds between tables is not looked at.

    Args:
        text: TOML.
        kind: What it has to be.
        source: The file's name for messages.

    Raises:
        LayoutError: It is not TOML, or not of that kind; the message names table and key.
    """
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise LayoutError(f"this is not TOML: {error}: mend that line", source=source) from error
    try:
        return msgspec.convert(raw, kind)
    except msgspec.ValidationError as error:
        raise _explain(str(error), raw, source) from error


def _explain(message: str, raw: dict[str, object], source: str | None) -> LayoutError:
    """A checker's message with a path like ``$.supply[0].rated_va`` as one with table, key and remedy."""
    found = _PATH.search(message)
    said = message.split(" - at", maxsplit=1)[0].rstrip(".")
    table, key = _place(found.group("path") if found else "", raw)
    missing = re.fullmatch(r"Object missing required field `(\w+)`", said)
    unknown = re.fullmatch(r"Object contains unknown field `(.*)`", said)
    place = " ".join(part for part in (table, key) if part) or None
    if missing:
        return LayoutError("this key is missing: add it", source=source, table=place, key=missing.group(1))
    if unknown:
        return LayoutError(
            "this key is not one of this file's: correct its spelling or remove it",
            source=source,
            table=place,
            key=unknown.group(1),
        )
    return LayoutError(f"{_plain(said)}: correct it", source=source, table=table, key=key)


def _plain(said: str) -> str:
    """The checker's words as a person would say them."""
    for pattern, words in (
        (r"Expected `(.*)`, got `(.*)`", r"this should be \1 but is \2"),
        (r"Expected `(.*?)` (.*)", r"this should be a \1 \2"),
        (r"Invalid enum value (.*)", r"\1 is not one of the words allowed here"),
    ):
        if re.fullmatch(pattern, said):
            return re.sub(pattern, words, said).replace("`", "")
    return said


def _place(path: str, raw: dict[str, object]) -> tuple[str | None, str | None]:
    """Split a path into the table as a person writes it and the key within it."""
    table: str | None = None
    keys: list[str] = []
    value: object = raw
    for word, index in _STEP.findall(path):
        if index:
            value = value[int(index)] if isinstance(value, list) and int(index) < len(value) else None
            if table is None:
                table = _table_name(keys.pop(), int(index), value)
        elif word:
            value = value.get(word) if isinstance(value, dict) else None
            keys.append(word)
        else:
            keys.append("...")
    if table is None and len(keys) > 1:
        table = keys.pop(0)
    return table, ".".join(keys) or None


def _table_name(kind: str, index: int, value: object) -> str:
    name = value.get("name") if isinstance(value, dict) else None
    return f'{kind} "{name}"' if isinstance(name, str) else f"{kind} number {index + 1}"
