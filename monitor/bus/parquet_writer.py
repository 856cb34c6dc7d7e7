"""From what was taken in to Parquet, a small step at a time, so that whoever takes in is never kept waiting."""

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from monitor.bus.payloads import Received
from monitor.bus.spool import Spool, messages
from monitor.bus.tables import Rows, Tables, sort_into

ADOPTED_AT_ONCE = 2000
"""Messages of a file of somebody else's that are in memory at a time."""


@dataclass(slots=True, kw_only=True)
class _Job:
    """Rows to be written, and the spool file that may go when they are."""

    rows: Rows
    more: Iterator[Rows]
    path: Path


class ParquetWriter:
    """Takes messages into the spool and brings them into the tables.

    Args:
        into: The collectors' common folder.
        name: This collector.
        unix_now: Wall clock.

    Attributes:
        rows: How many rows were written.
    """

    def __init__(self, into: Path, name: str, unix_now: Callable[[], float]) -> None:
        self._spool = Spool(into, name)
        self._tables = Tables(into, name)
        self._unix_now = unix_now
        self._taken: Rows = {}
        self._jobs: deque[_Job] = deque()
        self.rows = 0
        self.adopt(name)

    @property
    def is_busy(self) -> bool:
        """True while there is something for :meth:`step`."""
        return bool(self._jobs)

    def take(self, received: Received) -> None:
        """Take one message.

        Raises:
            OSError: There is no room.
        """
        self._spool.add(received)
        sort_into(self._taken, received, self._unix_now())

    def turn(self) -> None:
        """What was taken up to here is to be written."""
        if self._taken:
            path = self._spool.turn()
            self._jobs.append(_Job(rows=self._taken, more=iter(()), path=path))
            self._taken = {}

    def adopt(self, owner: str) -> int:
        """Take over the files of a collector.

        Returns:
            How many.
        """
        adopted = [_Job(rows={}, more=self._rows_of(path), path=path) for path in self._spool.adopt(owner)]
        self._jobs.extend(adopted)
        return len(adopted)

    def owners(self) -> set[str]:
        """Names of all collectors that left files behind or are at work."""
        return self._spool.owners()

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
                sort_into(rows, received, self._unix_now())
            yield rows
