"""The outbox: what is to be sent, on disk until a collector has it on its own; bounded."""

import contextlib
import sqlite3
from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from monitor.errors import BusError

LIMIT_BYTES = 64_000_000
"""More than a day of a station of eight districts."""
COLLECTED_FOR_S = 2 * 86_400.0
"""A hall has a collector, though it may be away, for so long after one acknowledged anything."""
LETTER_COST_BYTES = 60
"""What the file takes for a message beside its payload and topic."""

_SHAPE = """
PRAGMA locking_mode = EXCLUSIVE;
PRAGMA journal_mode = WAL;
PRAGMA synchronous = NORMAL;
CREATE TABLE IF NOT EXISTS messages (
    id INTEGER PRIMARY KEY AUTOINCREMENT, notice INTEGER NOT NULL, topic TEXT NOT NULL, payload BLOB NOT NULL, boot TEXT, seq INTEGER
);
CREATE INDEX IF NOT EXISTS in_order ON messages (notice, id);
CREATE INDEX IF NOT EXISTS by_name ON messages (boot, seq);
CREATE TABLE IF NOT EXISTS losses (what TEXT PRIMARY KEY, count INTEGER NOT NULL);
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
        self._collected_unix_s = float(losses.get("collected", 0))

    def put(self, topic: str, payload: bytes, *, notice: bool, name: tuple[str, int] = ("", 0)) -> None:
        """Keep a message until it is acknowledged by its name: boot and seq.

        Raises:
            BusError: The disk refuses it; so do all methods below that change something.
        """
        with self._changing():
            self._file.execute(
                "INSERT INTO messages (notice, topic, payload, boot, seq) VALUES (?, ?, ?, ?, ?)", (notice, topic, payload, *name)
            )
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
            "SELECT id, notice, topic, payload FROM messages WHERE notice = ? AND id > ? ORDER BY id LIMIT ?",
            (notice, after, most),
        )
        return [Waiting(id=number, notice=bool(kind), topic=topic, payload=payload) for number, kind, topic, payload in rows]

    def acknowledge(self, names: Iterable[tuple[str, int, int]], sent: Container[int], now_unix_s: float) -> list[int]:
        """A collector has messages on its disk.

        Args:
            names: Boot, first and last seq of each run of them.
            sent: Ids of what was sent at all: no one can have anything else, whatever is said.
            now_unix_s: Wall clock.

        Returns:
            Ids of those that are gone.
        """
        gone: list[int] = []
        with self._changing():
            for name in names:
                rows = self._file.execute("SELECT id FROM messages WHERE boot = ? AND seq BETWEEN ? AND ?", name)
                kept = [number for (number,) in rows.fetchall() if number in sent]
                for number in kept:
                    self._delete("id = ?", number)
                gone += kept
            self.waiting_count -= len(gone)
            self._file.execute("REPLACE INTO losses VALUES ('collected', ?)", (int(now_unix_s),))
        self._collected_unix_s = now_unix_s
        return gone

    def has_collector(self, now_unix_s: float) -> bool:
        """Whether somebody is to acknowledge messages; where no one collects, the broker's word has to do."""
        return now_unix_s - self._collected_unix_s < COLLECTED_FOR_S

    def drop(self, number: int) -> None:
        """Let go of a message that the broker has."""
        with self._changing():
            self.waiting_count -= self._delete("id = ?", number)

    def ids(self) -> set[int]:
        """Ids of all messages that wait."""
        return {number for (number,) in self._file.execute("SELECT id FROM messages")}

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
        (count,) = self._file.execute("SELECT count(*) FROM messages").fetchone()
        return int(count)

    def _make_room(self) -> None:
        """Every second of the older half of the readings goes, until a tenth is free; only then the oldest of the rest."""
        wanted_bytes = 0.9 * self._limit_bytes
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

    def _delete(self, where: str, *values: float | str) -> int:
        """Delete, and give how many went."""
        (size,) = self._file.execute(f"SELECT coalesce(sum({_SIZE}), 0) FROM messages WHERE {where}", values).fetchone()  # noqa: S608 - our own text
        if not size:
            return 0
        self._bytes -= size
        return self._file.execute(f"DELETE FROM messages WHERE {where}", values).rowcount  # noqa: S608 - our own text
