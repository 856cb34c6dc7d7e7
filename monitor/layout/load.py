"""Reading the layout file, with errors that name the file, the table, the key and the remedy."""

import difflib
import functools
import operator
import tomllib
import typing
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Literal, TypeVar, get_args, get_origin

import msgspec

from monitor.errors import LayoutError
from monitor.layout.check import layout_faults
from monitor.layout.schema import Layout

KeyPath = tuple[str | int, ...]
"""Keys and places from the top of the file down."""

_KINDS = {str: "text", int: "a whole number", float: "a number", bool: "true or false"}


def shape_errors(value: object, kind: Any, path: KeyPath = ()) -> Iterator[tuple[KeyPath, str]]:  # noqa: ANN401 - any type that a key may have
    """Everything about a value that its kind does not allow: where it stands, and what is wrong with what remedy.

    Args:
        value: What a TOML reader made of it.
        kind: A table's class, or the type of a key.
        path: Where the value stands.
    """
    kind = _plain_kind(kind)
    if isinstance(kind, type) and issubclass(kind, msgspec.Struct):
        yield from _table_errors(value, kind, path)
        return
    found = [error for step, each, of in _parts(value, kind) for error in shape_errors(each, of, (*path, step))]
    yield from found or _misfit(value, kind, path)


def _parts(value: object, kind: Any) -> Iterator[tuple[str | int, object, Any]]:  # noqa: ANN401 - as above
    """What a list or tables by name hold: where, what, and of which type it has to be."""
    origin, inner = get_origin(kind), get_args(kind)
    if origin is typing.Annotated:
        yield from _parts(value, inner[0])
    elif origin is tuple and isinstance(value, list):
        several = inner[-1] is Ellipsis
        for k, each in enumerate(value if several else value[: len(inner)]):
            yield k, each, inner[0 if several else k]
    elif origin is dict and isinstance(value, dict):
        for key, each in value.items():
            yield key, each, inner[1]


def _misfit(value: object, kind: Any, path: KeyPath) -> Iterator[tuple[KeyPath, str]]:  # noqa: ANN401 - as above
    try:
        msgspec.convert(value, kind)
    except msgspec.ValidationError:
        found = (
            "a table"
            if isinstance(value, dict)
            else "a list"
            if isinstance(value, list)
            else f'"{value}"'
            if isinstance(value, str)
            else value
        )
        yield path, f"this is {found}, and has to be {allowed(kind)}: correct it"


def _table_errors(value: object, kind: type[msgspec.Struct], path: KeyPath) -> Iterator[tuple[KeyPath, str]]:
    if not isinstance(value, dict):
        yield path, f"this has to be a table with the keys {', '.join(kind.__struct_fields__)}: correct it"
        return
    fields = {each.name: each for each in msgspec.structs.fields(kind)}
    for key in [key for key in value if key not in fields and kind.__struct_config__.forbid_unknown_fields]:
        close = difflib.get_close_matches(key, [name for name in fields if name not in value], n=1)
        remedy = f'did you mean "{close[0]}"?' if close else f"correct its spelling or remove it (there are: {', '.join(fields)})"
        yield (*path, key), f"this key is not one of this table's: {remedy}"
    for name, each in fields.items():
        if name in value:
            yield from shape_errors(value[name], each.type, (*path, name))
        elif each.required:
            yield (*path, name), f"this key is missing: add it, {allowed(each.type)}"


def _plain_kind(kind: Any) -> Any:  # noqa: ANN401 - as above
    """A type without its "or nothing", which a TOML file cannot write."""
    some = [each for each in get_args(kind) if each is not NoneType]
    is_union = isinstance(kind, UnionType) or get_origin(kind) is typing.Union
    if not is_union or len(some) == len(get_args(kind)):
        return kind
    return some[0] if len(some) == 1 else functools.reduce(operator.or_, some)


def allowed(kind: Any) -> str:  # noqa: ANN401 - as above
    """What a key of this type may hold, in words."""
    kind = _plain_kind(kind)
    inner = get_args(kind)
    origin = get_origin(kind)
    if origin is typing.Annotated:
        return f"{allowed(inner[0])}{_bounds(inner[1], 'tables' if get_origin(inner[0]) is tuple else 'characters')}"
    if origin is Literal:
        return "one of " + ", ".join(f'"{word}"' for word in inner)
    if origin is tuple:
        several = inner[-1] is Ellipsis
        return f"a list, each {allowed(inner[0])}" if several else f"a list of {len(inner)}: {', '.join(map(allowed, inner))}"
    if origin is typing.Union or isinstance(kind, UnionType):
        return " or ".join(map(allowed, inner))
    table = is_table(kind)
    return (
        _KINDS.get(kind, "tables by name")
        if table is None or origin is dict
        else f"a table with {', '.join(table.__struct_fields__)}"
    )


def _bounds(meta: msgspec.Meta, counted: str) -> str:
    if meta.pattern is not None:
        return ', a date such as "2026-05-30"'
    if meta.max_length is not None:
        return f", {meta.min_length or 0} to {meta.max_length} {counted}"
    least = f"above {meta.gt:g}" if meta.gt is not None else f"from {meta.ge:g}" if meta.ge is not None else ""
    return " ".join(part for part in (" " + least if least else "", f"to {meta.le:.10g}" if meta.le is not None else "") if part)


def is_table(kind: Any) -> type[msgspec.Struct] | None:  # noqa: ANN401 - as above
    """The class of the table, or of the tables, that a key holds; None where it holds a figure or words."""
    kind = _plain_kind(kind)
    if get_origin(kind) is typing.Annotated:
        return is_table(get_args(kind)[0])
    if isinstance(kind, type) and issubclass(kind, msgspec.Struct):
        return kind
    inner = get_args(kind)
    if get_origin(kind) is dict or (get_origin(kind) is tuple and inner[-1] is Ellipsis):
        return is_table(inner[-1] if get_origin(kind) is dict else inner[0])
    return None


def place_of(path: KeyPath, raw: Mapping[str, object]) -> tuple[str | None, str | None]:
    """The table of a path as a person writes it, and the key within it."""
    if not path:
        return None, None
    top, rest = str(path[0]), path[1:]
    if rest and isinstance(rest[0], int):
        tables = raw.get(top)
        value = tables[rest[0]] if isinstance(tables, list) else None
        name = value.get("name") if isinstance(value, dict) else None
        top = f'{top} "{name}"' if isinstance(name, str) else f"{top} number {rest[0] + 1}"
        rest = rest[1:]
    elif not rest:
        return None, top
    return top, ".".join(map(str, rest)) or None


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
        with path.open(encoding="utf-8-sig") as file:  # a byte-order mark, as some editors write it, is no error
            text = file.read(SIZE_LIMIT_BYTES + 1)  # devices and pipes say no size
    except FileNotFoundError as error:
        raise LayoutError(
            "there is no such file: check the name, or write one with 'pilotlamp layout new'", source=str(path)
        ) from error
    except UnicodeDecodeError as error:
        raise LayoutError("the file is not UTF-8 text: save it as plain UTF-8 text", source=str(path)) from error
    except OSError as error:
        raise LayoutError(f"the file cannot be read ({error.strerror}): check its rights", source=str(path)) from error
    if len(text) > SIZE_LIMIT_BYTES:
        raise LayoutError("the file is larger than a layout can be: is this the right file?", source=str(path))
    return text


def parse_layout(text: str, *, source: str | None = None) -> Layout:
    """Check the text of a layout file.

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
