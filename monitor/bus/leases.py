"""Leases: who collects, in files of the folder that all collectors share, so that one that died is taken over by one other."""

import contextlib
import os
import secrets
import socket
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import msgspec

from monitor.errors import BusError

FOLDER = "spool"
BEAT_S = 2.0
"""Pause between two signs of life."""
_FRESH_S = 3 * BEAT_S
_HELD = "~"
"""``VICTIM~ADOPTER.lease``: a lease that somebody is taking over; no name holds this character."""


class _Lease(msgspec.Struct, frozen=True):
    client_id: str
    host: str
    process: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Vacant:
    """A lease of somebody dead, now held by us.

    Attributes:
        client_id: Under which name the broker keeps what it had not fetched.
        path: The file, to be removed when everything is taken over.
    """

    owner: str
    client_id: str
    path: Path


class Leases:
    """This collector's lease, and its eye on those of the others.

    Ages are differences between times that the folder's own computer gave to files; nobody's clock matters.

    Args:
        into: The folder that all collectors share.
        name: This collector.
        empty_after_s: A lease without a sign of life for so long belongs to nobody.
    """

    def __init__(self, into: Path, name: str, empty_after_s: float) -> None:
        self._folder = into / FOLDER
        self._folder.mkdir(parents=True, exist_ok=True)
        self._name = name
        self._path = self._folder / f"{name}.lease"
        self._empty_after_s = empty_after_s
        self._held: dict[Path, Vacant] = {}

    def acquire(self) -> str:
        """Take our lease, the one of our last run where it is still there.

        Returns:
            Our name to the broker, which nobody can guess who does not see the folder.

        Raises:
            BusError: Another collector of that name is at work.
        """
        before = _read(self._path)
        if before is not None and self._is_taken(before):
            raise BusError(f"a collector named {self._name} is at work already: give this one another --name")
        client_id = before.client_id if before else f"collector-{self._name}-{secrets.token_hex(8)}"
        made = self._path.with_name(f".{secrets.token_hex(6)}.tmp")
        made.write_bytes(msgspec.json.encode(_Lease(client_id=client_id, host=socket.gethostname(), process=os.getpid())))
        made.replace(self._path)
        return client_id

    def beat(self) -> bool:
        """Give a sign of life.

        Returns:
            False where our lease is gone: we were silent for so long that somebody took over. Acquire it again.
        """
        for path in list(self._held):
            try:
                os.utime(path)
            except FileNotFoundError:
                del self._held[path]
        try:
            os.utime(self._path)
        except FileNotFoundError:
            return False
        return True

    def take_vacant(self) -> Iterator[Vacant]:
        """Take the leases without a sign of life, each by one rename: of several that try one succeeds."""
        for path, age_s in self._others():
            lease = _read(path)
            if lease is None or age_s < self._empty_after_s:
                continue
            owner = path.stem.partition(_HELD)[0]
            held = self._folder / f"{owner}{_HELD}{self._name}.lease"
            try:
                os.utime(path)  # whoever renames it has a fresh one
                path.rename(held)
            except OSError:
                continue
            self._held[held] = Vacant(owner=owner, client_id=lease.client_id, path=held)
            yield self._held[held]

    def owners(self) -> set[str]:
        """Names of all who have a lease, dead or alive."""
        return {path.stem.partition(_HELD)[0] for path in self._folder.glob("*.lease")}

    def release(self, vacant: Vacant) -> None:
        """Everything of it is taken over."""
        self._held.pop(vacant.path, None)
        vacant.path.unlink(missing_ok=True)

    def give_back(self, vacant: Vacant) -> None:
        """Not everything could be taken over: the next that looks may, we too."""
        self._held.pop(vacant.path, None)
        with contextlib.suppress(OSError):
            os.utime(vacant.path, (0, 0))

    def leave(self) -> None:
        """We end in order: the others need not wait for what the broker still has for us."""
        with contextlib.suppress(OSError):
            os.utime(self._path, (0, 0))

    def _others(self) -> Iterator[tuple[Path, float]]:
        try:
            now_unix_s = self._path.stat().st_mtime
        except OSError:
            return
        for path in sorted(self._folder.glob("*.lease")):
            if path == self._path or path in self._held:
                continue
            try:
                yield path, now_unix_s - path.stat().st_mtime
            except OSError:
                continue

    def _is_taken(self, lease: _Lease) -> bool:
        if lease.host == socket.gethostname() and (lease.process == os.getpid() or not _is_alive(lease.process)):
            return False
        probe = self._path.with_name(f".{secrets.token_hex(6)}.tmp")
        probe.touch()
        try:
            return probe.stat().st_mtime - self._path.stat().st_mtime < _FRESH_S
        finally:
            probe.unlink()


def _is_alive(process: int) -> bool:
    if os.name == "nt":
        return True  # signal 0 is Ctrl-C there: only the lease's age tells
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _read(path: Path) -> _Lease | None:
    try:
        return msgspec.json.decode(path.read_bytes(), type=_Lease)
    except (OSError, msgspec.MsgspecError):
        return None
