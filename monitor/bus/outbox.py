"""The outbox: what is to be sent, on disk until the broker has confirmed it; bounded."""

import contextlib
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from monitor.errors import BusError

LIMIT_BYTES = 64_000_000
"""More than a day of a station of eight districts."""
AFTERGLOW_S = 120.0
"""For so long a confirmed warning or event is kept, to be sent once more should the broker have died after confirming it."""
LETTER_COST_BYTES = 60
"""What the file takes for a message beside its payload and topic."""

_SHAPE = """
PRAGMA locking_mode = EXCLUSIVE;
PRAGMA journal_mode = WAL;
PRAGMA synchronous = NORMAL;
CREATE TABLE IF NOT EXISTS messages (
    id INTEGER PRIMARY KEY AUTOINCREMENT, notice INTEGER NOT NULL, topic TEXT NOT NULL, payload BLOB NOT NULL, confirmed_s REAL
);
CREATE INDEX IF NOT EXISTS waiting ON messages (notice, id) WHERE confirmed_s IS NULL;
CREATE TABLE IF NOT EXISTS losses (what TEXT PRIMARY KEY, count INTEGER NOT NULL);
DELETE FROM messages WHERE confirmed_s IS NOT NULL;
"""
_SIZE = f"length(payload) + length(topic) + {LETTER_COST_BYTES}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """One message that waits.

    Attributes:
        id: Counts up in the order in which they were made.
        notice: True for warnings and events, which outlive readings.
        topic: Where to.
    """

    id: int
    notice: bool
    topic: str
    payload: bytes


class Outbox:
    """The outbox; used by one thread, which need not be the one that opens it.

    Args:
        path: Its file, made where it does not exist; None keeps everything in memory.
        limit_bytes: What it may hold.

    Attributes:
        waiting_count: How many messages wait.
        thinned: Reading messages that gave way to the limit, ever.
        lost: Warnings and events that did, ever.

    Raises:
        BusError: The file cannot be used.
    """

    def __init__(self, path: Path | None, limit_bytes: int = LIMIT_BYTES) -> None:
        self._limit_bytes, self._path = limit_bytes, path
        try:
            if path is not None:
                path.parent.mkdir(parents=True, exist_ok=True)
            self._file = sqlite3.connect(":memory:" if path is None else path, timeout=0.5, check_same_thread=False)
            self._file.executescript(_SHAPE)
            losses = dict(self._file.execute("SELECT what, count FROM losses").fetchall())
            (self._bytes,) = self._file.execute(f"SELECT coalesce(sum({_SIZE}), 0) FROM messages").fetchone()  # noqa: S608 - our own text
            self.waiting_count = self._count()
            self._file.commit()
        except (sqlite3.Error, OSError) as error:
            raise BusError(
                f"what waits for the broker cannot be kept in {path} ({error}): another watch may use it, or the folder is not "
                "writable; give another folder with --outbox"
            ) from error
        self.thinned = int(losses.get("thinned", 0))
        self.lost = int(losses.get("lost", 0))

    def put(self, topic: str, payload: bytes, *, notice: bool) -> None:
        """Keep a message until it is confirmed.

        Raises:
            BusError: The disk refuses it; so do all methods below that change something.
        """
        with self._changing():
            self._file.execute("INSERT INTO messages (notice, topic, payload) VALUES (?, ?, ?)", (notice, topic, payload))
            self._bytes += len(payload) + len(topic) + LETTER_COST_BYTES
            self.waiting_count += 1
            if self._bytes > self._limit_bytes:
                self._make_room()

    def waiting(self, *, notice: bool, after: int, most: int) -> list[Waiting]:
        """The next messages of one kind that wait, in order.

        Args:
            notice: Warnings and events, or readings.
            after: The last id that was given before; 0 from the beginning.
            most: How many at most.
        """
        rows = self._file.execute(
            "SELECT id, notice, topic, payload FROM messages WHERE notice = ? AND confirmed_s IS NULL AND id > ? ORDER BY id LIMIT ?",
            (notice, after, most),
        )
        return [Waiting(id=number, notice=bool(kind), topic=topic, payload=payload) for number, kind, topic, payload in rows]

    def confirm(self, number: int, now_s: float) -> None:
        """The broker has it: readings go, warnings and events stay for a while."""
        with self._changing():
            of = "WHERE id = ? AND notice AND confirmed_s IS NULL"
            marked = self._file.execute(f"UPDATE messages SET confirmed_s = ? {of}", (now_s, number))  # noqa: S608 - our own text
            self.waiting_count -= marked.rowcount + self._delete("id = ? AND NOT notice", number)

    def revive(self, now_s: float) -> None:
        """The connection broke: what was confirmed lately waits again."""
        with self._changing():
            again = self._file.execute("UPDATE messages SET confirmed_s = NULL WHERE confirmed_s > ?", (now_s - AFTERGLOW_S,))
            self.waiting_count += again.rowcount

    def forget(self, now_s: float) -> None:
        """Let go what was confirmed long enough ago."""
        with self._changing():
            self._delete("confirmed_s <= ?", now_s - AFTERGLOW_S)

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    @contextlib.contextmanager
    def _changing(self) -> Iterator[None]:
        """All or nothing; what the disk refuses is said."""
        before = self._bytes, self.waiting_count
        try:
            with self._file:
                yield
        except sqlite3.Error as error:
            self._bytes, self.waiting_count = before
            raise BusError(f"what is to be sent cannot be kept in {self._path} ({error}): make room on that disk") from error

    def _count(self) -> int:
        (count,) = self._file.execute("SELECT count(*) FROM messages WHERE confirmed_s IS NULL").fetchone()
        return int(count)

    def _make_room(self) -> None:
        """Every second of the older half of the readings goes, until a tenth is free; only then the oldest of the rest."""
        wanted_bytes = 0.9 * self._limit_bytes
        self._delete("confirmed_s IS NOT NULL")
        while self._bytes > wanted_bytes:
            rows = self._file.execute("SELECT id FROM messages WHERE NOT notice ORDER BY id").fetchall()
            gone = list(rows[: (len(rows) + 1) // 2][::2])
            if not gone:
                break
            for (number,) in gone:
                self._delete("id = ?", number)
            self.thinned += len(gone)
        while self._bytes > wanted_bytes:
            self._delete("id = (SELECT min(id) FROM messages)")
            self.lost += 1
        self.waiting_count = self._count()
        self._file.execute("REPLACE INTO losses VALUES ('thinned', ?), ('lost', ?)", (self.thinned, self.lost))

    def _delete(self, where: str, *values: float) -> int:
        """Delete, and give how many went."""
        (size,) = self._file.execute(f"SELECT coalesce(sum({_SIZE}), 0) FROM messages WHERE {where}", values).fetchone()  # noqa: S608 - our own text
        if not size:
            return 0
        self._bytes -= size
        return self._file.execute(f"DELETE FROM messages WHERE {where}", values).rowcount  # noqa: S608 - our own text
