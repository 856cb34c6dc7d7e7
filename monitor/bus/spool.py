"""What a collector took in: the spool of plain files that others may take over, and the way from there to Parquet in small steps."""

import bisect
import contextlib
import errno
import math
import os
import secrets
from collections import OrderedDict, deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from monitor.bus.payloads import EventNote, Readings, Received, WarningNote, decode, encode
from monitor.bus.tables import Rows, Tables, sort_into

FOLDER = "spool"
BEAT_S = 2.0
"""Pause between two signs of life on one's files."""


class Spool:
    """Appends messages; what was written is with the operating system at once, and survives the death of this program."""

    def __init__(self, into: Path, name: str) -> None:
        self._folder = into / FOLDER
        self._folder.mkdir(parents=True, exist_ok=True)
        self._name = name
        self._path = self._next()
        self._file = self._path.open("ab", buffering=0)
        self._size = 0

    def add(self, received: Received) -> None:
        """Keep one message, before its station is told that we have it.

        Raises:
            OSError: There is no room; nothing of the message is kept.
        """
        assert not isinstance(received.body, bytes)  # noqa: S101 - lines of boards are not collected
        line = received.address.topic.encode() + b"\t" + encode(received.body) + b"\n"
        try:
            written = self._file.write(line)
        except OSError:
            os.ftruncate(self._file.fileno(), self._size)
            raise
        if written != len(line):  # the disk became full within it
            os.ftruncate(self._file.fileno(), self._size)
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        self._size += len(line)
        if not self._is_in_place():
            # We stood still for so long that another collector took the file over, and may have read it before this line.
            self.turn()
            self.add(received)

    def _is_in_place(self) -> bool:
        try:
            return self._path.stat().st_ino == os.fstat(self._file.fileno()).st_ino
        except FileNotFoundError:
            return False

    def beat(self, others: Iterable[Path]) -> None:
        """Give a sign of life on our file and on others that we are at work on."""
        for path in (self._path, *others):
            with contextlib.suppress(FileNotFoundError):
                os.utime(path)

    def turn(self) -> Path:
        """Begin a new file; the one before is the caller's to remove once its messages are in Parquet."""
        path = self._next()
        file = path.open("ab", buffering=0)
        self._file.close()
        before, self._path, self._file, self._size = self._path, path, file, 0
        return before

    def adopt(self, silent_for_s: float, owner: str) -> Iterator[Path]:
        """Files of collectors, or of one of them, that gave no sign of life for so long, renamed to ours.

        Ages are differences between times that the folder's own computer gave to files; no one's clock matters.
        """
        self.beat(())
        now_s = os.fstat(self._file.fileno()).st_mtime
        for path in sorted(self._folder.glob(f"{owner}-*.spool")):
            ours = self._next()
            try:
                if path != self._path and now_s - path.stat().st_mtime >= silent_for_s:
                    os.utime(path)  # it is fresh before it is ours: no one takes it on from us
                    path.rename(ours)
                    yield ours
            except OSError:
                continue  # somebody else was quicker

    def close(self) -> None:
        """Close; an empty file goes."""
        self._file.close()
        with contextlib.suppress(OSError):
            if not self._path.stat().st_size:
                self._path.unlink()

    def _next(self) -> Path:
        return self._folder / f"{self._name}-{secrets.token_hex(6)}.spool"


def messages(path: Path) -> Iterator[Received]:
    """The messages of a file; one that was cut off is passed over."""
    with path.open("rb") as file:
        for line in file:
            topic, tab, payload = line.rstrip(b"\n").partition(b"\t")
            received = decode(topic.decode("utf-8", "replace"), payload) if tab else None
            if isinstance(received, Received) and isinstance(received.body, Readings | WarningNote | EventNote):
                yield received


STARTS_LIMIT, RANGES_LIMIT = 4000, 1000
"""Starts of stations whose messages are remembered, and ranges of each; the oldest are forgotten."""


class KeptNames:
    """Which messages of which start of a station were kept, as ranges of their numbers."""

    def __init__(self) -> None:
        self._ranges: OrderedDict[tuple[str, str, str], list[tuple[int, int]]] = OrderedDict()

    def add(self, received: Received) -> None:
        """Remember a message."""
        start, number = _name(received)
        ranges = self._ranges.setdefault(start, [])
        self._ranges.move_to_end(start)
        k = bisect.bisect(ranges, (number, math.inf))
        follows, leads = bool(k) and ranges[k - 1][1] >= number - 1, k < len(ranges) and ranges[k][0] == number + 1
        first = ranges[k - 1][0] if follows else number
        last = ranges[k][1] if leads else max(number, ranges[k - 1][1] if follows else number)
        ranges[k - follows : k + leads] = [(first, last)]
        del ranges[:-RANGES_LIMIT]
        if len(self._ranges) > STARTS_LIMIT:
            self._ranges.popitem(last=False)

    def __contains__(self, received: Received) -> bool:
        start, number = _name(received)
        ranges = self._ranges.get(start, [])
        k = bisect.bisect(ranges, (number, math.inf))
        return bool(k) and ranges[k - 1][1] >= number


def _name(received: Received) -> tuple[tuple[str, str, str], int]:
    assert isinstance(received.body, Readings | WarningNote | EventNote)  # noqa: S101 - nothing else is collected
    return (received.address.hall, received.address.station, received.body.boot), received.body.seq


ADOPTED_AT_ONCE = 2000
"""Messages of a file of somebody else's that are in memory at a time."""


@dataclass(slots=True, kw_only=True)
class _Job:
    """Rows to be written, and the spool file that may go when they are."""

    rows: Rows
    more: Iterator[Rows]
    path: Path


class ParquetWriter:
    """Takes messages into the spool and brings them into the tables, each once as far as this collector knows.

    Args:
        into: The collectors' common folder.
        name: This collector.
        unix_now: Wall clock.
    """

    def __init__(self, into: Path, name: str, unix_now: Callable[[], float]) -> None:
        self._spool = Spool(into, name)
        self._tables = Tables(into, name)
        self._unix_now = unix_now
        self._names = KeptNames()
        self._taken: Rows = {}
        self._jobs: deque[_Job] = deque()
        self.rows = 0
        self.adopt(0.0, name)  # of our last run

    @property
    def is_busy(self) -> bool:
        """True while there is something for :meth:`step`."""
        return bool(self._jobs)

    def take(self, received: Received) -> None:
        """Take one message.

        Raises:
            OSError: There is no room.
        """
        if received not in self._names:
            self._spool.add(received)
            sort_into(self._taken, received, self._unix_now())
            self._names.add(received)

    def turn(self) -> None:
        """What was taken up to here is to be written."""
        if self._taken:
            path = self._spool.turn()
            self._jobs.append(_Job(rows=self._taken, more=iter(()), path=path))
            self._taken = {}

    def adopt(self, silent_for_s: float, owner: str = "*") -> int:
        """Give a sign of life, and take over the files of collectors that gave none for so long.

        Returns:
            How many.
        """
        self._spool.beat(job.path for job in self._jobs)
        adopted = [_Job(rows={}, more=self._rows_of(path), path=path) for path in self._spool.adopt(silent_for_s, owner)]
        self._jobs.extend(adopted)
        return len(adopted)

    def step(self) -> None:
        """Do one piece of the work: one file.

        Raises:
            OSError: The folder cannot be written to; nothing is forgotten.
        """
        job = self._jobs[0]
        if not job.rows:
            job.rows = next(job.more, {})
        if job.rows:
            self.rows += self._tables.write_one(job.rows)
            return
        job.path.unlink(missing_ok=True)
        self._jobs.popleft()

    def finish(self) -> None:
        """Write everything.

        Raises:
            OSError: The folder cannot be written to; what is in the spool stays there.
        """
        self.turn()
        while self._jobs:
            self.step()
        self._spool.close()

    def _rows_of(self, path: Path) -> Iterator[Rows]:
        bodies = messages(path)
        while batch := list(islice(bodies, ADOPTED_AT_ONCE)):
            rows: Rows = {}
            for received in batch:
                if received not in self._names:
                    sort_into(rows, received, self._unix_now())
                    self._names.add(received)
            yield rows
