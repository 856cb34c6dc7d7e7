"""JSON Schemas of the payloads, for makers of other senders and readers: ``python -m monitor.bus.schemas FOLDER`` writes them."""

import inspect
import json
import re
import sys
from pathlib import Path
from typing import Any

import msgspec

from monitor.bus.broker import Kind
from monitor.bus.payloads import TYPES

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema(kind: Kind) -> dict[str, Any]:
    """The schema (draft 2020-12) of one kind of message."""
    (made,), parts = msgspec.json.schema_components([TYPES[kind]], ref_template="#/$defs/{name}")
    for part in parts.values():
        _describe(part)
    return {"$schema": DIALECT, "title": f"pilotlamp/1/HALL/STATION/{kind}", **made, "$defs": parts}


def schema_text(kind: Kind) -> str:
    """The schema as its file has it."""
    return json.dumps(schema(kind), indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def write_schemas(folder: Path) -> None:
    """Write ``KIND.schema.json`` for every kind."""
    for kind in TYPES:
        (folder / f"{kind}.schema.json").write_text(schema_text(kind), encoding="utf-8")


def _describe(part: dict[str, Any]) -> None:
    """Give each property what the docstring says of it."""
    text = inspect.cleandoc(part.get("description", ""))
    head, _, attributes = text.partition("\n\nAttributes:\n")
    part["description"] = head
    for name, said in re.findall(r"^    (\w+): (.+(?:\n {8}.+)*)", attributes, flags=re.MULTILINE):
        if name in part.get("properties", {}):
            part["properties"][name]["description"] = re.sub(r"\s+", " ", said)


if __name__ == "__main__":
    write_schemas(Path(sys.argv[1]))
