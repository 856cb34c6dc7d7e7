"""The readings of a session: Parquet parts, and the open part as an Arrow stream that survives any cut."""

import contextlib
import io
from datetime import datetime
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.ipc
import pyarrow.parquet

from monitor.sessions.buckets import FIGURES, Table
from monitor.sessions.durable import AppendedFile, write_whole

STEM = "readings"
SCHEMA = pa.schema(
    [
        ("time", pa.timestamp("ms", tz="UTC")),
        ("at_s", pa.float64()),
        ("district", pa.dictionary(pa.int16(), pa.string())),
        *((name, pa.float32()) for name in FIGURES),
        ("frequency_hz", pa.float32()),
        ("readings", pa.int32()),
    ]
)
_OPEN_SCHEMA = SCHEMA.set(2, pa.field("district", pa.string()))


class ReadingsLog:
    """Appends to the readings of a session.

    The open part has a name that begins with an underscore: readers of Parquet folders leave it out.

    Args:
        folder: Where the parts lie; must exist.
        part: Number of the first part to write.
        began_at: Wall clock at second 0 of the stream.
    """

    def __init__(self, folder: Path, part: int, began_at: datetime) -> None:
        self._folder, self._began_at = folder, began_at
        self.rows = 0
        self._begin(part)

    def write(self, table: Table) -> None:
        """Append rows.

        Raises:
            OSError: They could not be written.
        """
        batch = _batch(table, self._began_at)
        self.file.write(batch.serialize().to_pybytes())
        self._batches.append(batch)
        self.rows += batch.num_rows

    def next_part(self, part: int) -> None:
        """Seal the open part and begin another."""
        self.seal()
        self._begin(part)

    def seal(self) -> None:
        """Seal the open part; an empty one goes without a trace.

        Raises:
            OSError: There is no room: the open file stays as it is.
        """
        if self._batches:
            _write_parquet(sealed_path(self.file.path), self._batches)
        self.file.close()
        self.file.path.unlink()

    def _begin(self, part: int) -> None:
        self._batches: list[pa.RecordBatch] = []
        self.file = AppendedFile(self._folder / f"_{STEM}-{part:04d}.arrows")
        self.file.write(_OPEN_SCHEMA.serialize().to_pybytes())


def sealed_path(open_path: Path) -> Path:
    """The name that an open part gets when it is sealed."""
    return open_path.with_name(open_path.name.removeprefix("_")).with_suffix(".parquet")


def seal_open(path: Path) -> int:
    """Seal a part that was left open, from its file, as far as it can be read.

    Returns:
        How many rows were saved.
    """
    batches: list[pa.RecordBatch] = []
    if not sealed_path(path).exists():
        with contextlib.suppress(pa.ArrowInvalid, OSError), pa.ipc.open_stream(io.BytesIO(path.read_bytes())) as stream:
            for batch in stream:
                batches.append(batch)  # noqa: PERF402 - one by one: those before a cut count
        if batches:
            _write_parquet(sealed_path(path), batches)
    path.unlink()
    return sum(batch.num_rows for batch in batches)


def is_whole(path: Path) -> bool:
    """True where a Parquet part can be opened."""
    try:
        pa.parquet.read_metadata(path)
    except (pa.ArrowInvalid, OSError):
        return False
    return True


def _batch(table: Table, began_at: datetime) -> pa.RecordBatch:
    zero_ms = round(began_at.timestamp() * 1000)
    milliseconds = zero_ms + np.round(np.asarray(table["at_s"], dtype=np.float64) * 1000).astype(np.int64)
    columns = [pa.array(milliseconds, pa.timestamp("ms", tz="UTC"))]
    for field in list(_OPEN_SCHEMA)[1:]:
        values = table[field.name]
        if pa.types.is_float32(field.type):
            values = values.astype(np.float32)
        columns.append(pa.array(values, field.type))
    return pa.record_batch(columns, schema=_OPEN_SCHEMA)


def _write_parquet(path: Path, batches: list[pa.RecordBatch]) -> None:
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
    write_whole(path, buffer.getvalue())
