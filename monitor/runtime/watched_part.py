"""A worker in a thread of its own, watched: begun anew where it raises, and where it stands still."""

import threading
from dataclasses import replace
from typing import Generic, Protocol, Self, TypeVar

from monitor.runtime.kept_thread import KeptThread, PartHealth
from monitor.runtime.stall_watch import StallWatch


class Worker(Protocol):
    """What works in the thread."""

    beats: int

    def work(self, stop: threading.Event) -> None:
        """Work until stopped."""

    def successor(self) -> Self:
        """Who takes over; the present one hands nothing on any more."""


W = TypeVar("W", bound=Worker)


class WatchedPart(Generic[W]):
    """One part of the running watch.

    Args:
        name: For logs and for people.
        worker: Who works.

    Attributes:
        worker: Who works at present.
    """

    def __init__(self, name: str, worker: W) -> None:
        self.worker = worker
        self._thread = KeptThread(name, worker.work)
        self._watch = StallWatch(name, self, self._thread.where)

    @property
    def beats(self) -> int:
        """Goes up each time the worker goes round."""
        return self.worker.beats

    def begin_anew(self) -> None:
        """Leave the thread behind, and go on with a successor of the worker in another."""
        self.worker = self.worker.successor()
        self._thread.replace(self.worker.work)

    def look(self, gone_s: float) -> None:
        """Look whether it stands still; see :meth:`StallWatch.look`."""
        self._watch.look(gone_s)

    def start(self) -> None:
        """Start; once."""
        self._thread.start()

    def ask_to_stop(self) -> None:
        """Ask the worker to return."""
        self._thread.ask_to_stop()

    def join(self, timeout_s: float) -> bool:
        """Wait for the end; True where it ended in time."""
        return self._thread.join(timeout_s)

    def health(self) -> PartHealth:
        """How it is doing."""
        return with_standing(self._thread.health(), self._watch)


def with_standing(health: PartHealth, watch: StallWatch) -> PartHealth:
    """The same with what a stall watch has to say."""
    return replace(health, still_s=watch.still_s, restarts=watch.restarts, is_stalled=watch.is_stalled, standstill=watch.trouble)
