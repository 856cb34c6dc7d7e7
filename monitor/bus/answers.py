"""Answers to the usual questions about what the collectors kept, by DuckDB over its Parquet files."""

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from monitor.bus.tables import SCHEMAS, Table
from monitor.errors import BusError, MissingPackageError

try:
    import duckdb
except ImportError as error:
    raise MissingPackageError("'pilotlamp ask'", "duckdb", "ask") from error

ROWS_SHOWN = 200
TRIES = 4
_ONCE = {
    "readings": "boot, row, district",
    "supplies": "boot, row, supply",
    "warnings": "boot, id",
    "events": "boot, id",
}
"""What one thing is in each table; of several messages about it the latest holds."""
QUESTIONS = {
    "closest": (
        "which supplies came closest to their limit, and when",
        """SELECT hall, station, supply, round(max(share) * 100, 1) AS percent_of_limit, round(max(va), 1) AS most_va,
        arg_max(at_utc, share) AS at_utc FROM supplies_as_written WHERE share IS NOT NULL
        GROUP BY hall, station, supply ORDER BY percent_of_limit DESC, hall, station, supply""",
    ),
    "stalls": (
        "stalls an hour by cause and district",
        """SELECT hall, station, district, cause, count(*) AS stalls, round(any_value(hours), 2) AS hours_watched,
        round(count(*) / nullif(any_value(hours), 0), 2) AS an_hour
        FROM events LEFT JOIN (SELECT hall, station, district, sum(hours) AS hours FROM watched GROUP BY ALL)
        USING (hall, station, district) WHERE fault
        GROUP BY hall, station, district, cause ORDER BY an_hour DESC NULLS LAST, stalls DESC, hall, station, district""",
    ),
    "warnings": (
        "warnings by rule and place",
        """SELECT hall, station, name, rule, priority, count(*) AS warnings,
        round(sum(epoch(ended_utc - at_utc)) / 60, 1) AS minutes_standing
        FROM warnings GROUP BY ALL ORDER BY warnings DESC, hall, station, name""",
    ),
    "draw": (
        "mean and highest draw of each district, and what it used",
        """SELECT hall, station, district, round(avg(amps), 2) AS amps_mean, round(max(amps_highest), 2) AS amps_highest,
        round(sum(volts * amps) / 7200, 1) AS va_h, round(sum(watts) / 7200, 1) AS watt_h
        FROM readings WHERE NOT doubtful GROUP BY ALL ORDER BY amps_highest DESC NULLS LAST, hall, station, district""",
    ),
    "days": (
        "hours watched, stalls and warnings of each day",
        """SELECT w.hall, w.day, stations, round(hours, 1) AS district_hours, coalesce(stalls, 0) AS stalls,
        coalesce(warnings, 0) AS warnings
        FROM (SELECT hall, day, count(DISTINCT station) AS stations, sum(hours) AS hours FROM watched GROUP BY ALL) w
        LEFT JOIN (SELECT hall, day, count(*) AS stalls FROM events WHERE fault GROUP BY ALL) USING (hall, day)
        LEFT JOIN (SELECT hall, day, count(*) AS warnings FROM warnings GROUP BY ALL) USING (hall, day)
        ORDER BY hall, day""",
    ),
}
_WATCHED = (
    "CREATE VIEW watched AS SELECT hall, day, station, district, count(*) / 7200 AS hours FROM "
    "(SELECT DISTINCT hall, day, station, district, boot, row FROM readings_as_written) GROUP BY ALL"
)
"""Hours of readings of each district and day."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """A table.

    Attributes:
        rows: The rows, at most :data:`ROWS_SHOWN` of a usual question.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """What is asked about.

    Attributes:
        hall: One hall; None for all.
        since: First day, ISO 8601; None from the beginning.
        until: Last day; None to the end.
    """

    hall: str | None = None
    since: str | None = None
    until: str | None = None


def answer(folder: Path, question: str, asked: Range | None = None) -> Answer:
    """Answer one of :data:`QUESTIONS`, or one in SQL over readings, supplies, warnings, events and watched.

    Raises:
        BusError: There is nothing to ask, or the question cannot be understood.
    """
    if not any((folder / table).is_dir() for table in SCHEMAS):
        raise BusError(f"{folder} holds nothing that collectors wrote: give the folder that 'pilotlamp collect --into' was given")
    if str(folder) != os.fsencode(folder).decode("utf-8", "replace"):
        raise BusError(f"{folder} can be asked only once every folder on the way to it is called by UTF-8 text: rename it")
    known = QUESTIONS.get(question)
    sql = f"{known[1]} LIMIT {ROWS_SHOWN}" if known else question
    try:
        for _ in range(TRIES - 1):
            try:
                return _asked_once(folder, sql, asked or Range())
            except duckdb.IOException:  # a collector made one file of many while we looked
                continue
        return _asked_once(folder, sql, asked or Range())
    except duckdb.Error as error:
        raise BusError(
            f"the question cannot be answered ({str(error).splitlines()[0]}): ask one of {', '.join(QUESTIONS)}"
        ) from error


def _asked_once(folder: Path, sql: str, asked: Range) -> Answer:
    with duckdb.connect() as connection:
        connection.execute("SET TimeZone = 'UTC'")
        for table in SCHEMAS:
            _make_view(connection, folder, table, asked)
        connection.execute(_WATCHED)
        result = connection.execute(sql)
        columns = tuple(str(column[0]) for column in result.description or ())
        rows = tuple(tuple(row) for row in result.fetchall())
    return Answer(columns=columns, rows=tuple(_named(columns, row) for row in rows))


def _make_view(connection: duckdb.DuckDBPyConnection, folder: Path, table: Table, asked: Range) -> None:
    pattern = str(folder / table / "*" / "*" / "*" / "*.parquet").replace("'", "''")
    source = f"read_parquet('{pattern}', hive_partitioning = true, hive_types_autocast = false)"
    if next((folder / table).glob("*/*/*/*.parquet"), None) is None:
        connection.register(f"no_{table}", SCHEMAS[table].empty_table())
        source = f"(SELECT *, '' AS hall, '' AS day, '' AS station FROM no_{table})"  # noqa: S608 - our own text
    wanted = [
        f"{column} {sign} '{value.replace(chr(39), chr(39) * 2)}'"
        for column, sign, value in (("hall", "=", asked.hall), ("day", ">=", asked.since), ("day", "<=", asked.until))
        if value is not None
    ]
    where = f"WHERE {' AND '.join(wanted)}" if wanted else ""
    connection.execute(f"CREATE VIEW {table}_as_written AS SELECT * FROM {source} {where}")  # noqa: S608 - our own text, quoted
    once = f"PARTITION BY hall, station, {_ONCE[table]} ORDER BY seq DESC"
    connection.execute(
        f"CREATE VIEW {table} AS SELECT * FROM {table}_as_written QUALIFY row_number() OVER ({once}) = 1"  # noqa: S608 - our own text
    )


def _named(columns: tuple[str, ...], row: tuple[Any, ...]) -> tuple[Any, ...]:
    return tuple(
        unquote(value) if column in ("hall", "station") and isinstance(value, str) else value
        for column, value in zip(columns, row, strict=True)
    )
