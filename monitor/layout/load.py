"""Reading the layout file, with errors that name the file, the table, the key and the remedy."""

import tomllib
from pathlib import Path
from typing import TypeVar

import msgspec

from monitor.errors import LayoutError
from monitor.layout.check import layout_faults
from monitor.layout.schema import Layout
from monitor.layout.shape import place_of, shape_errors

SIZE_LIMIT_BYTES = 1_000_000


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
        return path.read_text(encoding="utf-8-sig")  # a byte-order mark, as some editors write it, is no error
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
    for fault in layout_faults(layout, source=source):
        raise fault
    return layout


def layout_errors(path: Path) -> list[LayoutError]:
    """Everything that is wrong in a layout file; what holds between tables only once each of them is right by itself."""
    source = str(path)
    try:
        raw = _tables(read_text(path), source)
    except LayoutError as error:
        return [error]
    return _shape_faults(raw, Layout, source) or list(layout_faults(msgspec.convert(raw, Layout), source=source))


def parse_tables(text: str, kind: type[Kind], *, source: str | None = None) -> Kind:
    """TOML as a value of a kind; what holds between tables is not looked at.

    Args:
        text: TOML.
        kind: What it has to be.
        source: The file's name for messages.

    Raises:
        LayoutError: It is not TOML, or not of that kind; the message names table and key.
    """
    raw = _tables(text, source)
    for fault in _shape_faults(raw, kind, source):
        raise fault
    return msgspec.convert(raw, kind)


def _tables(text: str, source: str | None) -> dict[str, object]:
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise LayoutError(f"this is not TOML: {error}: mend that line", source=source) from error


def _shape_faults(raw: dict[str, object], kind: type[msgspec.Struct], source: str | None) -> list[LayoutError]:
    faults = []
    for path, message in shape_errors(raw, kind):
        table, key = place_of(path, raw)
        faults.append(LayoutError(message, source=source, table=table, key=key))
    return faults
