"""The tables that collectors write: rows by partition, and their files."""

import contextlib
import os
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

import pyarrow as pa
import pyarrow.parquet as pq

from monitor.bus.broker import escaped
from monitor.bus.payloads import GRID_S, EventNote, Readings, Received, WarningNote

Table = Literal["readings", "supplies", "warnings", "events"]
_WHEN = pa.timestamp("ms", tz="UTC")
_HEAD = [("boot", pa.string()), ("seq", pa.int64())]
_FIGURE = pa.float32()
SCHEMAS: dict[Table, pa.Schema] = {
    "readings": pa.schema(
        [*_HEAD, ("row", pa.int64()), ("at_utc", _WHEN), ("district", pa.string()), ("volts", _FIGURE), ("amps", _FIGURE),
         ("amps_highest", _FIGURE), ("watts", _FIGURE), ("doubtful", pa.bool_()), ("clipped", pa.bool_())]
    ),
    "supplies": pa.schema([*_HEAD, ("row", pa.int64()), ("at_utc", _WHEN), ("supply", pa.string()), ("va", _FIGURE), ("share", _FIGURE)]),
    "warnings": pa.schema(
        [*_HEAD, ("id", pa.int64()), ("at_utc", _WHEN), ("ended_utc", _WHEN), ("rule", pa.string()), ("priority", pa.string()),
         ("scope", pa.string()), ("name", pa.string()), ("trip_in_s", pa.float64()), ("share", pa.float64()),
         ("message", pa.string()), ("acknowledged", pa.bool_())]
    ),
    "events": pa.schema(
        [*_HEAD, ("id", pa.int64()), ("at_utc", _WHEN), ("ended_utc", _WHEN), ("district", pa.string()), ("cause", pa.string()),
         ("fault", pa.bool_()), ("confidence", pa.float64())]
    ),
}  # fmt: skip
PARTS_LIMIT = 40
"""Small files of one collector in one partition before they become one."""
PAST_DAYS, FUTURE_DAYS = 60, 1
_DAY_S = 86_400


@dataclass(frozen=True, slots=True, order=True)
class Partition:
    """Where rows belong.

    Attributes:
        day: Date (UTC) by the station's clock; that of arrival where the station's clock cannot be right.
    """

    table: Table
    hall: str
    day: str
    station: str

    def folder(self, into: Path) -> Path:
        """Its folder."""
        return into / self.table / f"hall={escaped(self.hall)}" / f"day={self.day}" / f"station={escaped(self.station)}"


Rows = dict[Partition, list[tuple[Any, ...]]]


def sort_into(rows: Rows, received: Received, now_unix_s: float) -> None:
    """Put a message's rows where they belong."""
    for table, at_unix_s, row in _rows(received):
        day = _day(at_unix_s, now_unix_s)
        rows.setdefault(Partition(table, received.address.hall, day, received.address.station), []).append(row)


class Tables:
    """Writes rows, each file whole or not at all.

    Args:
        into: The folder of all tables.
        name: This collector; part of the files' names, so that collectors never touch each other's.
    """

    def __init__(self, into: Path, name: str) -> None:
        self._into = into
        self._name = name
        # The first file costs a quarter of a second more than any other, which should not be waited for later.
        pq.write_table(pa.table({"a": [0]}), pa.BufferOutputStream(), compression="zstd")

    def write_one(self, rows: Rows) -> int:
        """Write one partition of the rows, and take it out of them.

        Returns:
            How many rows.

        Raises:
            OSError: The folder cannot be written to; the rows are still there.
        """
        partition = next(iter(rows))
        schema = SCHEMAS[partition.table]
        columns = zip(zip(*rows[partition], strict=True), schema, strict=True)
        table = pa.Table.from_arrays([pa.array(column, type=field.type) for column, field in columns], schema=schema)
        folder = partition.folder(self._into)
        _write(folder, f"{self._name}-part-{secrets.token_hex(6)}", table)
        del rows[partition]
        self._merge(folder, schema)
        return int(table.num_rows)

    def _merge(self, folder: Path, schema: pa.Schema) -> None:
        """Many small files of ours become one; a reader meanwhile sees rows twice, which reading expects."""
        parts = sorted(folder.glob(f"{self._name}-part-*.parquet"))
        if len(parts) < PARTS_LIMIT:
            return
        whole = pa.concat_tables([_read(part, schema) for part in parts])
        _write(folder, f"{self._name}-whole-{secrets.token_hex(6)}", whole)
        for part in parts:
            part.unlink(missing_ok=True)


def _read(path: Path, schema: pa.Schema) -> pa.Table:
    with pa.OSFile(os.fsencode(path)) as file:
        return pq.read_table(file, schema=schema, partitioning=None)


def _write(folder: Path, name: str, table: pa.Table) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    temporary = folder / f".{name}.tmp"
    try:
        # As bytes: the library takes no name that is not UTF-8.
        with pa.OSFile(os.fsencode(temporary), "wb") as file:
            pq.write_table(table, file, compression="zstd")
        temporary.replace(folder / f"{name}.parquet")
    except BaseException:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise


def _day(at_unix_s: float, now_unix_s: float) -> str:
    believable = -PAST_DAYS * _DAY_S < at_unix_s - now_unix_s < FUTURE_DAYS * _DAY_S
    return datetime.fromtimestamp(at_unix_s if believable else now_unix_s, tz=UTC).strftime("%Y-%m-%d")


def _rows(received: Received) -> Iterator[tuple[Table, float, tuple[Any, ...]]]:
    body = received.body
    if isinstance(body, Readings):
        yield from _reading_rows(body)
    elif isinstance(body, WarningNote):
        at, ended = _times(body)
        yield "warnings", at / 1000, (
            *body.uid, body.id, at, ended, body.rule, body.priority, body.scope, body.name, body.trip_in_s,
            body.share, body.message, body.acknowledged,
        )  # fmt: skip
    elif isinstance(body, EventNote):
        at, ended = _times(body)
        yield "events", at / 1000, (
            *body.uid, body.id, at, ended, body.district, body.cause, body.fault, body.confidence
        )  # fmt: skip


def _reading_rows(body: Readings) -> Iterator[tuple[Table, float, tuple[Any, ...]]]:
    doubtful, clipped = set(body.doubtful), set(body.clipped)
    for k in range(body.rows):
        number = body.first + k
        at_unix_s = min(body.began_unix_s + number * GRID_S, 1e11)
        head = (*body.uid, number, round(at_unix_s * 1000))
        districts = zip(body.districts, body.volts, body.amps, body.amps_highest, body.watts, strict=True)
        for name, *columns in districts:
            yield "readings", at_unix_s, (*head, name, *(column[k] for column in columns), name in doubtful, name in clipped)
        for name, *columns in zip(body.supplies, body.va, body.share, strict=True):
            yield "supplies", at_unix_s, (*head, name, *(column[k] for column in columns))


def _times(body: WarningNote | EventNote) -> tuple[int, int | None]:
    """Start and end as Unix milliseconds."""
    start, end = (None if s is None else round(max(0.0, body.began_unix_s + s) * 1000) for s in (body.start_s, body.end_s))
    return start or 0, end
