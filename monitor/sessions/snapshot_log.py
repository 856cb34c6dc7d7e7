"""Samples around events, kept with the session: one row a channel of one moment, its samples a list in that row."""

import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet

from monitor.sessions.folder import SessionFolder
from monitor.sessions.table_log import Batches, TableLog, arrow_column, part_paths, read_part
from monitor.values import Event, Snapshot, SnapshotChannel
from monitor.values.samples import Quantity

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


_LETTERS: dict[str, Quantity] = {word: letter for letter, word in QUANTITIES.items()}
BEFORE_S = 0.25
"""Of several moments that hold an event's beginning, one that shows at least so much of what was before."""
_INDEX = ["event_id", "start_s", "interval_s", "samples", "district"]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptMoment:
    """Where the samples around one event lie.

    Attributes:
        event_id: The event for which they were kept.
        start_s: Time of the first row, seconds of the stream.
        end_s: Time after the last one.
        districts: Whose channels there are.
    """

    event_id: int
    start_s: float
    end_s: float
    districts: frozenset[str]
    path: Path


class Moments:
    """The kept moments of one session; a session that has none, or is older than they are, is an empty one.

    Args:
        session: The session; it may be going on.

    Attributes:
        damage: Parts that cannot be read, one sentence each.
    """

    def __init__(self, session: SessionFolder) -> None:
        self.damage: list[str] = []
        self._at_hand: tuple[Path, pa.Table | None] | None = None
        self._kept = [moment for path in part_paths(session.snapshots, STEM) for moment in self._moments(path)]
        self._by_id = {moment.event_id: moment for moment in self._kept}

    def __len__(self) -> int:
        """How many are kept."""
        return len(self._by_id)

    def find(self, event: Event) -> KeptMoment | None:
        """Where the samples around an event are: its own, or those of a moment that holds its district and its beginning."""
        own = self._by_id.get(event.id)
        if own is not None and event.district in own.districts:
            return own
        around = [m for m in self._kept if m.start_s <= event.start_s < m.end_s and event.district in m.districts]
        return max(around, key=lambda m: (min(event.start_s - m.start_s, BEFORE_S), m.end_s), default=None)

    def snapshot(self, event: Event) -> Snapshot | None:
        """The samples around an event, its own district first; None where none were kept."""
        moment = self.find(event)
        table = None if moment is None else self._samples(moment.path)
        if moment is None or table is None:
            return None
        own = pc.and_(pc.equal(table["event_id"], moment.event_id), pc.equal(table["start_s"], moment.start_s))
        return _own_first(_snapshot(table.filter(own)), event)

    def _samples(self, path: Path) -> pa.Table | None:
        """A part with its samples; the last one asked for is at hand."""
        if self._at_hand is None or self._at_hand[0] != path or path.suffix != ".parquet":
            self._at_hand = (path, self._table(path, None))
        return self._at_hand[1]

    def _moments(self, path: Path) -> Iterator[KeptMoment]:
        table = self._table(path, _INDEX)
        rows: dict[tuple[int, float], list[dict[str, Any]]] = {}
        for row in [] if table is None else table.to_pylist():
            rows.setdefault((row["event_id"], row["start_s"]), []).append(row)
        for key, own in rows.items():
            yield KeptMoment(
                event_id=key[0],
                start_s=key[1],
                end_s=key[1] + own[0]["samples"] * own[0]["interval_s"],
                districts=frozenset(row["district"] for row in own),
                path=path,
            )

    def _table(self, path: Path, columns: list[str] | None) -> pa.Table | None:
        try:
            return read_part(path, columns)
        except (pa.ArrowInvalid, OSError, KeyError) as error:
            self.damage.append(f"{path.name} cannot be read ({error})")
            return None


def _snapshot(table: pa.Table) -> Snapshot:
    rows = table.drop_columns(["values"]).to_pylist()
    return Snapshot(
        event_id=rows[0]["event_id"],
        board=rows[0]["board"],
        start_s=rows[0]["start_s"],
        interval_s=rows[0]["interval_s"],
        channels=tuple(
            SnapshotChannel(district=row["district"], quantity=_LETTERS[row["quantity"]], skew_s=row["skew_s"]) for row in rows
        ),
        values=np.column_stack([samples.values.to_numpy(zero_copy_only=False) for samples in table["values"]]),
    )


def _own_first(snapshot: Snapshot, event: Event) -> Snapshot:
    """The same samples as a snapshot of this event."""
    order = sorted(range(len(snapshot.channels)), key=lambda k: snapshot.channels[k].district != event.district)
    channels = tuple(snapshot.channels[k] for k in order)
    return replace(snapshot, event_id=event.id, channels=channels, values=snapshot.values[:, order])
