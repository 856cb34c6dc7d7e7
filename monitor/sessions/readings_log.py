"""The readings of a session as a table: one row a district and fifth of a second."""

import io
from datetime import datetime
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet

from monitor.sessions.buckets import FIGURES, Table
from monitor.sessions.table_log import Batches, TableLog, arrow_column

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
