"""The kept moments of a session: which there are, and their samples."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor.sessions.folder import SessionFolder
from monitor.sessions.snapshot_log import QUANTITIES, STEM
from monitor.sessions.table_log import part_paths, read_part
from monitor.values import Event, Snapshot, SnapshotChannel
from monitor.values.snapshots import Quantity

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
