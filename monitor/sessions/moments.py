"""The kept moments of a session: which there are, and their samples."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet

from monitor.sessions.folder import SessionFolder
from monitor.sessions.snapshot_log import QUANTITIES, STEM
from monitor.sessions.table_log import open_batches, sealed_path
from monitor.values import Event, Snapshot, SnapshotChannel

_LETTERS = {word: letter for letter, word in QUANTITIES.items()}
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
        path: The part's file.
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
        self._kept = [moment for path in _parts(session) for moment in self._moments(path)]
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
        table = None if moment is None else self._table(moment.path, None)
        if moment is None or table is None:
            return None
        rows = [row for row in table.to_pylist() if row["event_id"] == moment.event_id and row["start_s"] == moment.start_s]
        return _own_first(_snapshot(rows), event)

    def _moments(self, path: Path) -> Iterator[KeptMoment]:
        table = self._table(path, _INDEX)
        rows = [] if table is None else table.to_pylist()
        for key in dict.fromkeys((row["event_id"], row["start_s"]) for row in rows):
            own = [row for row in rows if (row["event_id"], row["start_s"]) == key]
            yield KeptMoment(
                event_id=key[0],
                start_s=key[1],
                end_s=key[1] + own[0]["samples"] * own[0]["interval_s"],
                districts=frozenset(row["district"] for row in own),
                path=path,
            )

    def _table(self, path: Path, columns: list[str] | None) -> pa.Table | None:
        if path.suffix != ".parquet":
            batches = open_batches(path)
            sealed = sealed_path(path)
            if batches or not sealed.exists():
                table = pa.Table.from_batches(batches) if batches else None
                return table if table is None or columns is None else table.select(columns)
            path = sealed
        try:
            return pa.parquet.read_table(path, columns=columns)
        except (pa.ArrowInvalid, OSError, KeyError) as error:
            self.damage.append(f"{path.name} cannot be read ({error})")
            return None


def _parts(session: SessionFolder) -> list[Path]:
    """The parts in their order; of one that is being sealed at this moment, the sealed form."""
    sealed = {path.stem: path for path in session.snapshots.glob(f"{STEM}-*.parquet")}
    left_open = {path.stem.removeprefix("_"): path for path in session.snapshots.glob(f"_{STEM}-*.arrows")}
    return [path for _, path in sorted({**left_open, **sealed}.items())]


def _snapshot(rows: Sequence[dict[str, object]]) -> Snapshot:
    channels = tuple(
        SnapshotChannel(district=row["district"], quantity=_LETTERS[row["quantity"]], skew_s=row["skew_s"])  # type: ignore[arg-type,index]
        for row in rows
    )
    first = rows[0]
    return Snapshot(
        event_id=first["event_id"],  # type: ignore[arg-type]
        board=first["board"],  # type: ignore[arg-type]
        start_s=first["start_s"],  # type: ignore[arg-type]
        interval_s=first["interval_s"],  # type: ignore[arg-type]
        channels=channels,
        values=np.column_stack([np.array(row["values"], dtype=np.float32) for row in rows]),
    )


def _own_first(snapshot: Snapshot, event: Event) -> Snapshot:
    """The same samples as a snapshot of this event."""
    order = sorted(range(len(snapshot.channels)), key=lambda k: snapshot.channels[k].district != event.district)
    channels = tuple(snapshot.channels[k] for k in order)
    return replace(snapshot, event_id=event.id, channels=channels, values=snapshot.values[:, order])
