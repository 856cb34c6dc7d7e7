"""Events, warnings, actions and the like as JSON lines and back."""

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from monitor.sessions.folder import NoticeKind, SessionFolder
from monitor.values import Action, BoardSeen, Disturbance, Event, Finding, Pattern, Phasing, Priority, SlowFigure, Step
from monitor.values import Warning as RaisedWarning
from monitor.values.json_text import json_bytes

Row = dict[str, Any]
SECONDS_LIMIT = 1e9
"""Thirty years of a stream."""
FIGURE_LIMIT = 1e18
"""No count and no measured figure is beyond it."""
T = TypeVar("T")

_TYPES: dict[NoticeKind, type] = {
    "events": Event,
    "warnings": RaisedWarning,
    "actions": Action,
    "findings": Finding,
    "disturbances": Disturbance,
    "patterns": Pattern,
    "slow_figures": SlowFigure,
    "phasings": Phasing,
    "boards": BoardSeen,
}


def notice_rows(step: Step) -> Iterator[tuple[NoticeKind, Row]]:
    """Everything in a step that is kept as JSON lines, each row headed by the stream's time when it was said."""
    for kind in _TYPES:
        for value in getattr(step, kind):
            # A figure may be of a kind of float of its own; no step may be lost to that.
            row = {"at_s": step.now_s, **_plain(msgspec.to_builtins(value, enc_hook=float))}
            if isinstance(value, RaisedWarning):
                row["priority"] = value.priority.word
            yield kind, row


def row_line(row: Row) -> bytes:
    """One line of a file."""
    return json_bytes(row) + b"\n"


def read_rows(path: Path) -> tuple[list[Row], int]:
    """Rows of a file of JSON lines; none where there is no such file.

    Returns:
        The rows, and how many lines could not be read (a cut or damaged file).
    """
    rows: list[Row] = []
    bad = 0
    try:
        lines = path.read_bytes().split(b"\n")
    except OSError:
        return [], 0
    for line in filter(None, lines):
        row = _row(line)
        if row is None:
            bad += 1
        else:
            rows.append(row)
    return rows, bad


def _row(line: bytes) -> Row | None:
    """A row; None for one that is cut, damaged, or speaks of times and figures that cannot be."""
    try:
        row = msgspec.json.decode(line, type=Row)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    return row if _is_possible(row) else None


def _is_possible(value: Any, name: str = "") -> bool:  # noqa: ANN401 - whatever JSON can hold
    if isinstance(value, dict):
        return all(_is_possible(each, key) for key, each in value.items())
    if isinstance(value, list):
        return all(_is_possible(each, name) for each in value)
    limit = SECONDS_LIMIT if name.endswith("_s") else FIGURE_LIMIT
    return not isinstance(value, int | float) or abs(value) <= limit


def read_notices(session: SessionFolder, kind: NoticeKind, wanted: type[T]) -> list[T]:
    """The last word about each event, warning or finding, in order of their first; actions and all else as they came."""
    found: dict[object, T] = {}
    for row in read_rows(session.notices(kind))[0]:
        value = _value(row, wanted)
        if value is not None:
            number = getattr(value, "id", None)
            found[len(found) if number is None else (getattr(value, "board", None), number)] = value
    return list(found.values())


def _value(row: Row, wanted: type[T]) -> T | None:
    left_out = {"step"} if wanted in (Action, SlowFigure) else {"step", "at_s"}
    fields = {name: value for name, value in row.items() if name not in left_out}
    try:
        if wanted is RaisedWarning:
            fields["priority"] = Priority[str(row.get("priority", "low")).upper()].value
        return msgspec.convert(fields, wanted)
    except (msgspec.ValidationError, KeyError):
        return None


def _plain(value: Any) -> Any:  # noqa: ANN401 - whatever JSON can hold
    """Figures that JSON cannot hold are left out of tables and made null in lists."""
    if isinstance(value, dict):
        return {name: _plain(each) for name, each in value.items() if not _is_no_figure(each)}
    if isinstance(value, list | tuple):
        return [None if _is_no_figure(each) else _plain(each) for each in value]
    return value


def _is_no_figure(value: object) -> bool:
    return isinstance(value, float) and not math.isfinite(value)
