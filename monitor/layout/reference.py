"""The layout file key by key, made from the schema itself: its docstrings, types and defaults, and an example of each."""

import functools
import inspect
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import resources

import msgspec
import tomlkit

from monitor.layout.load import allowed, is_table
from monitor.layout.schema import Layout

_UNITS = {
    "volts": "volts", "amps": "amps", "watts": "watts", "va": "volt-amperes", "hertz": "hertz", "s": "seconds", "ms": "milliseconds",
    "us": "microseconds", "m": "metres", "mm2": "square millimetres", "megohms": "megohms", "ohms": "ohms", "baud": "bits per second",
}  # fmt: skip
"""By the last word of a key; the figures of the file are in SI units."""
_ATTRIBUTE = re.compile(r"^ {4}(\w+): (.+?)(?=^ {4}\w+: |\Z)", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyDescription:
    """One key of a table.

    Attributes:
        meaning: What it says, from the docstring.
        unit: Of its figure; empty where it has none.
        allowed: What it may hold.
        default: What holds where it is absent; "required" where it must not be.
        example: As it stands in a file; empty for tables.
    """

    name: str
    meaning: str
    unit: str
    allowed: str
    default: str
    example: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TableDescription:
    """One table of the file.

    Attributes:
        header: As it stands in a file.
        meaning: What it is, from the docstring.
        keys: Its keys, in order.
    """

    header: str
    meaning: str
    keys: tuple[KeyDescription, ...]


@functools.cache
def example_text() -> str:
    """A layout file that uses every key."""
    return resources.files("monitor.layout").joinpath("example.toml").read_text(encoding="utf-8")


def describe(kind: type[msgspec.Struct] = Layout, header: str = "", example: object = None) -> Iterator[TableDescription]:
    """The table of a class under its header and, after it, those within it; the example is as TOML has it."""
    example = tomllib.loads(example_text()) if example is None else example
    doc = inspect.cleandoc(kind.__doc__ or "")
    meanings = {name: " ".join(text.split()) for name, text in _ATTRIBUTE.findall(doc.partition("Attributes:\n")[2])}
    shown = example if isinstance(example, dict) else {}
    keys = [_key(field, meanings.get(field.name, ""), shown.get(field.name)) for field in msgspec.structs.fields(kind)]
    yield TableDescription(header=header, meaning=doc.partition("\n\nAttributes:")[0].split("\n")[0], keys=tuple(keys))
    for field in msgspec.structs.fields(kind):
        inner = is_table(field.type)
        if inner is not None:
            value = shown.get(field.name)
            path = f"{header.strip('[]')}.{field.name}".lstrip(".")
            yield from describe(inner, _header(path, value), _first(value))


def _header(path: str, value: object) -> str:
    if isinstance(value, list):
        return f"[[{path}]]"
    if isinstance(value, dict) and all(isinstance(each, dict) for each in value.values()):
        (name, channels), *_ = value.items()
        return f'[{path}."{name}".{next(iter(channels))}]'
    return f"[{path}]"


def _first(value: object) -> object:
    """The table itself of what may be several, with the keys of the others too, or tables by name."""
    if isinstance(value, list):
        return functools.reduce(_merged, value)
    while isinstance(value, dict) and value and all(isinstance(each, dict) for each in value.values()):
        value = next(iter(value.values()))
    return value


def _merged(one: dict[str, object], other: dict[str, object]) -> dict[str, object]:
    """The first table with those keys of the other that it lacks."""
    merged = dict(one)
    for key, value in other.items():
        mine = merged.setdefault(key, value)
        if isinstance(mine, dict) and isinstance(value, dict):
            merged[key] = _merged(mine, value)
    return merged


def _key(field: msgspec.structs.FieldInfo, meaning: str, example: object) -> KeyDescription:
    inner = is_table(field.type)
    unit = "" if inner else _UNITS.get(field.name.split("_")[-1], "")
    default = "required" if field.required else "" if field.default in (None, (), msgspec.NODEFAULT) else _written(field.default)
    return KeyDescription(
        name=field.name,
        meaning=meaning,
        unit=unit,
        allowed="a table, see below" if inner else allowed(field.type),
        default=default,
        example="" if inner or example is None else f"{field.name} = {_written(example)}",
    )


def _written(value: object) -> str:
    return str(tomlkit.item(value).as_string())


def reference_text() -> str:
    """The whole reference as Markdown."""
    lines = [
        "# The layout file, key by key",
        "",
        "One TOML file says what is on the bench. Every figure is in SI units; a key that is not required may be left out.",
        "Made from the program's own schema by `pilotlamp layout keys`, which with `--example` prints a file that uses every key.",
        "`pilotlamp layout check FILE` tells everything that is wrong in a file of yours.",
        "The program watches and advises; it replaces no breaker, and work on the mains side is for licensed people.",
    ]
    for table in describe():
        lines += ["", f"## `{table.header}`" if table.header else "## At the top", "", table.meaning, ""]
        lines += ["| key | what it says | unit | allowed | default | example |", "|---|---|---|---|---|---|"]
        lines += [
            f"| `{key.name}` | {key.meaning} | {key.unit} | {key.allowed} | {key.default} | {key.example and f'`{key.example}`'} |"
            for key in table.keys
        ]
    return "\n".join(lines) + "\n"
