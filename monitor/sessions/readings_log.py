"""The readings of a session as a table: one row a district and fifth of a second."""

import io
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet
from numpy.typing import NDArray

from monitor.errors import SessionDamagedError
from monitor.sessions.buckets import BUCKET_S, FIGURES, Table
from monitor.sessions.folder import SessionFolder
from monitor.sessions.table_log import Batches, TableLog, arrow_column, described, part_paths, read_part
from monitor.values.arrays import Floats

STEM = "readings"
_UNITS = {"volts": "V", "amps": "A", "watts": "W", "volt_amperes": "VA", "far": "V"}
_MEANINGS = {
    "rms": "root mean square of the one-cycle RMS values",
    "lowest": "lowest one-cycle RMS",
    "highest": "highest one-cycle RMS; where clipped is above 0, a lower bound",
    "mean": "mean",
}


def _figure(name: str, source: str, how: str) -> pa.Field:
    meaning = (
        f"{source}: {_MEANINGS[how]}"
        if not source.endswith("_peak")
        else "highest sample, whatever its sign; at the end of the range a lower bound"
    )
    return described(
        name, pa.float32(), _UNITS.get(source, _UNITS.get(source.split("_", maxsplit=1)[0], "")), f"{meaning}. NaN: not measured"
    )


SCHEMA = pa.schema(
    [
        described("time", pa.timestamp("ms", tz="UTC"), "", "beginning of the row's fifth of a second"),
        described("at_s", pa.float64(), "s", "the same, seconds since the watch began"),
        described("district", pa.dictionary(pa.int16(), pa.string()), "", "name in the layout file"),
        *(_figure(name, source, how) for name, (source, how) in FIGURES.items()),
        described("frequency_hz", pa.float32(), "Hz", "mains frequency, mean. NaN: no AC to measure it by"),
        described("seconds", pa.float32(), "s", "time that its readings of volts and amps stand for; 0: not known"),
        described("joules", pa.float32(), "J", "real energy in that time. NaN: not measured"),
        described(
            "readings", pa.int32(), "", "readings that the row is made of: one each half cycle, or as a line board sends them"
        ),
        described(
            "doubtful",
            pa.int32(),
            "",
            "how many of them a sensor was known to be wrong in: their figures are not to be relied on",
        ),
        described(
            "clipped",
            pa.int32(),
            "",
            "how many of them had amps at the end of the sensor's range: those figures are lower bounds",
        ),
        described("clipped_volts", pa.int32(), "", "the same of volts"),
    ]
)
LATER_COLUMNS = ("doubtful", "clipped", "clipped_volts", "seconds", "joules")
"""Sessions from before they were kept lack them."""
_OPEN_SCHEMA = SCHEMA.set(2, described("district", pa.string(), "", "name in the layout file"))


class ReadingsLog(TableLog):
    """Appends to the readings of a session.

    Args:
        folder: Where the parts lie; must exist.
        part: Number of the first part to write.
        began_at: Wall clock at second 0 of the stream.
    """

    def __init__(self, folder: Path, part: int, began_at: datetime) -> None:
        self._began_at = began_at
        super().__init__(folder, STEM, part, _OPEN_SCHEMA, readings_parquet)

    def write(self, table: Table) -> None:
        """Append rows.

        Raises:
            OSError: They could not be written.
        """
        self.append(_batch(table, self._began_at))


def readings_parquet(batches: Batches) -> bytes:
    """A sealed part of readings, ordered by time."""
    table = pa.Table.from_batches(batches, schema=_OPEN_SCHEMA).sort_by("at_s")
    table = table.cast(SCHEMA)
    buffer = io.BytesIO()
    figures = [*FIGURES, "frequency_hz"]
    pa.parquet.write_table(
        table,
        buffer,
        compression="zstd",
        use_dictionary=["district"],
        column_encoding=dict.fromkeys(figures, "BYTE_STREAM_SPLIT"),
    )
    return buffer.getvalue()


def _batch(table: Table, began_at: datetime) -> pa.RecordBatch:
    zero_ms = round(began_at.timestamp() * 1000)
    milliseconds = zero_ms + np.round(np.asarray(table["at_s"], dtype=np.float64) * 1000).astype(np.int64)
    values = {**table, "time": milliseconds}
    return pa.record_batch([arrow_column(values[field.name], field.type) for field in _OPEN_SCHEMA], schema=_OPEN_SCHEMA)


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredDistrict:
    """Rows of one district, n of them, a fifth of a second each where nothing is missing.

    Attributes:
        at_s: Shape (n,): where each row begins, seconds of the stream, rising.
        figures: Shape (n,) each, by column name.
    """

    name: str
    at_s: Floats
    figures: dict[str, Floats]

    @property
    def seconds(self) -> float:
        """Time that the rows cover."""
        return len(self.at_s) * BUCKET_S


def load_readings(session: SessionFolder, columns: tuple[str, ...]) -> dict[str, StoredDistrict]:
    """Readings by district, of a session that is being recorded up to what the disk has.

    Raises:
        SessionDamagedError: They cannot be read.
    """
    # Part by part: a column of one part stays in the processor's cache while it is dealt out to the districts.
    pieces: dict[str, dict[str, list[NDArray[Any]]]] = {}
    for path in part_paths(session.readings, STEM):
        try:
            part = read_part(path, ["at_s", "district", *columns], later=LATER_COLUMNS)
        except (pa.ArrowInvalid, OSError, KeyError) as error:
            raise SessionDamagedError(
                f"{path} cannot be read ({error}): 'pilotlamp sessions recover' puts the session in order"
            ) from error
        if part is not None:
            _deal_out(part, pieces)
    return {name: _district(name, found) for name, found in pieces.items()}


def _deal_out(part: pa.Table, pieces: dict[str, dict[str, list[NDArray[Any]]]]) -> None:
    """Add a part's rows to the pieces of each column of each district."""
    district = _whole(part["district"])
    if pa.types.is_string(district.type):  # an open part has its names as plain words
        district = district.dictionary_encode()
    codes = _numbers(district.indices)
    order = np.argsort(codes, kind="stable")
    edges = np.searchsorted(codes[order], np.arange(len(district.dictionary) + 1)).tolist()
    columns = {name: _numbers(_whole(part[name]))[order] for name in part.column_names if name != "district"}
    for name, first, last in zip(district.dictionary.to_pylist(), edges, edges[1:], strict=False):
        for column, values in columns.items():
            pieces.setdefault(name, {}).setdefault(column, []).append(values[first:last])


def _district(name: str, pieces: dict[str, list[NDArray[Any]]]) -> StoredDistrict:
    figures = {column: np.concatenate(parts, dtype=np.float64) for column, parts in pieces.items()}
    at_s = figures.pop("at_s")
    if (np.diff(at_s) < 0).any():
        rows = np.argsort(at_s, kind="stable")
        at_s, figures = at_s[rows], {column: values[rows] for column, values in figures.items()}
    return StoredDistrict(name=name, at_s=at_s, figures=figures)


def _whole(column: pa.ChunkedArray) -> pa.Array:
    whole = column.combine_chunks()
    return whole.chunk(0) if isinstance(whole, pa.ChunkedArray) else whole


def _numbers(column: pa.Array) -> NDArray[Any]:
    # Arrow's own to_numpy imports pandas, which takes half a second; nulls are never written, but found in what was made elsewhere.
    return column.to_numpy(zero_copy_only=False) if column.null_count else np.from_dlpack(column)
