"""The spool: what a collector took in and has not yet brought into Parquet, in plain files that others may take over."""

import contextlib
import errno
import os
import secrets
from collections.abc import Iterator
from pathlib import Path

from monitor.bus.leases import FOLDER
from monitor.bus.payloads import BusFault, Received, decode, encode


class Spool:
    """Appends messages; what was written is with the operating system at once, and survives the death of this program.

    Args:
        into: The collectors' common folder.
        name: This collector.
    """

    def __init__(self, into: Path, name: str) -> None:
        self._folder = into / FOLDER
        self._folder.mkdir(parents=True, exist_ok=True)
        self._name = name
        self._path = self._next()
        self._file = self._path.open("ab", buffering=0)
        self._size = 0

    def add(self, received: Received) -> None:
        """Keep one message, before the broker is told that we have it.

        Raises:
            OSError: There is no room; nothing of the message is kept.
        """
        if isinstance(received.body, bytes):
            return
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

    def turn(self) -> Path:
        """Begin a new file; the one before is the caller's to remove once its messages are in Parquet."""
        path = self._next()
        file = path.open("ab", buffering=0)
        self._file.close()
        before, self._path, self._file, self._size = self._path, path, file, 0
        return before

    def adopt(self, owner: str) -> Iterator[Path]:
        """Files that a collector left behind, renamed to ours; our own of an earlier run where the owner is ourselves."""
        for path in sorted(self._folder.glob(f"{owner}-*.spool")):
            if path == self._path:
                continue
            ours = self._next()
            try:
                path.rename(ours)
            except OSError:
                continue  # somebody else was quicker
            yield ours

    def owners(self) -> set[str]:
        """Names of all who have files here."""
        return {path.name.rpartition("-")[0] for path in self._folder.glob("*.spool")}

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
            if received is not None and not isinstance(received, BusFault):
                yield received
