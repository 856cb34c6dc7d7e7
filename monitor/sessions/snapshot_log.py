"""Samples around events, kept with the session: one row a channel of one moment, its samples a list in that row."""

import io
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet

from monitor.sessions.table_log import Batches, TableLog, arrow_column
from monitor.values import Snapshot
from monitor.values.snapshots import Quantity

STEM = "snapshots"
QUANTITIES: dict[Quantity, str] = {"V": "volts", "A": "amps", "F": "far volts"}
SCHEMA = pa.schema(
    [
        ("time", pa.timestamp("us", tz="UTC")),
        ("event_id", pa.int64()),
        ("board", pa.string()),
        ("start_s", pa.float64()),
        ("interval_s", pa.float64()),
        ("district", pa.string()),
        ("quantity", pa.string()),
        ("skew_s", pa.float64()),
        ("samples", pa.int32()),
        ("values", pa.list_(pa.float32())),
    ]
)
A_PART = 60
"""Most moments kept in a part of five minutes: 720 an hour, at 14 kB each on a board of four districts. What is beyond can be cut
again from the raw bytes."""
SAME_S = 0.05
COMPRESSION_LEVEL = 9


class SnapshotLog(TableLog):
    """Appends to the snapshots of a session.

    A moment that several districts of a board share (a mains dip, a protection that opens) is kept once: every snapshot holds all
    channels of its board.

    Args:
        folder: Where the parts lie; must exist.
        part: Number of the first part to write.
        began_at: Wall clock at second 0 of the stream.
    """

    def __init__(self, folder: Path, part: int, began_at: datetime) -> None:
        self._began_at = began_at
        super().__init__(folder, STEM, part, SCHEMA, snapshots_parquet)

    def write(self, snapshots: Iterable[Snapshot]) -> None:
        """Append what is new.

        Raises:
            OSError: They could not be written.
        """
        for snapshot in snapshots:
            if len(self._spans) < A_PART and not self._is_kept(snapshot):
                self.append(_batch(snapshot, self._began_at))
                self._spans.append((snapshot.board, snapshot.start_s, snapshot.end_s))

    def _is_kept(self, snapshot: Snapshot) -> bool:
        return any(
            board == snapshot.board and start_s <= snapshot.start_s + SAME_S and end_s >= snapshot.end_s - SAME_S
            for board, start_s, end_s in self._spans
        )

    def _begin(self, part: int) -> None:
        self._spans: list[tuple[str, float, float]] = []
        super()._begin(part)


def snapshots_parquet(batches: Batches) -> bytes:
    """A sealed part of snapshots."""
    buffer = io.BytesIO()
    pa.parquet.write_table(
        pa.Table.from_batches(batches, schema=SCHEMA),
        buffer,
        compression="zstd",
        compression_level=COMPRESSION_LEVEL,
        # Dictionaries of samples hide from zstd how alike the cycles are: a quarter larger.
        use_dictionary=["board", "district", "quantity"],
    )
    return buffer.getvalue()


def _batch(snapshot: Snapshot, began_at: datetime) -> pa.RecordBatch:
    n, channels = snapshot.values.shape
    time_us = round((began_at.timestamp() + snapshot.start_s) * 1e6)
    columns: dict[str, Sequence[object]] = {
        "time": [time_us] * channels,
        "event_id": [snapshot.event_id] * channels,
        "board": [snapshot.board] * channels,
        "start_s": [snapshot.start_s] * channels,
        "interval_s": [snapshot.interval_s] * channels,
        "district": [channel.district for channel in snapshot.channels],
        "quantity": [QUANTITIES[channel.quantity] for channel in snapshot.channels],
        "skew_s": [channel.skew_s for channel in snapshot.channels],
        "samples": [n] * channels,
        "values": list(snapshot.values.T),
    }
    return pa.record_batch([arrow_column(columns[field.name], field.type) for field in SCHEMA], schema=SCHEMA)
