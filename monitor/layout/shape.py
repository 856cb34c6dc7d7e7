"""The shape of tables, key by key: what is wrong with a text's tables, all of it, and what each key may hold, in words."""

import difflib
import functools
import operator
import typing
from collections.abc import Iterator, Mapping
from types import NoneType, UnionType
from typing import Any, Literal, get_args, get_origin

import msgspec

Path = tuple[str | int, ...]
"""Keys and places from the top of the file down."""

_KINDS = {str: "text", int: "a whole number", float: "a number", bool: "true or false"}


def shape_errors(value: object, kind: Any, path: Path = ()) -> Iterator[tuple[Path, str]]:  # noqa: ANN401 - any type that a key may have
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


def _misfit(value: object, kind: Any, path: Path) -> Iterator[tuple[Path, str]]:  # noqa: ANN401 - as above
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


def _table_errors(value: object, kind: type[msgspec.Struct], path: Path) -> Iterator[tuple[Path, str]]:
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


def place_of(path: Path, raw: Mapping[str, object]) -> tuple[str | None, str | None]:
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
