"""A worker in a thread of its own, watched: begun anew where it raises, and where it stands still."""

import threading
from dataclasses import replace
from typing import Generic, Protocol, Self, TypeVar

from monitor.runtime.supervised_thread import PartHealth, SupervisedThread
from monitor.runtime.watchdog import Watchdog


class Worker(Protocol):
    """What works in the thread."""

    beats: int

    def work(self, stop: threading.Event) -> None:
        """Work until stopped."""

    def replacement(self) -> Self:
        """Who takes over; the present one hands nothing on any more."""


W = TypeVar("W", bound=Worker)


class SupervisedWorker(Generic[W]):
    """One part of the running watch.

    Args:
        name: For logs and for people.
        worker: Who works.

    Attributes:
        worker: Who works at present.
    """

    def __init__(self, name: str, worker: W) -> None:
        self.worker = worker
        self._thread = SupervisedThread(name, worker.work)
        self._watch = Watchdog(name, self, self._thread.where)

    @property
    def beats(self) -> int:
        """Goes up each time the worker goes round."""
        return self.worker.beats

    def restart(self) -> None:
        """Leave the thread behind, and go on with a successor of the worker in another."""
        self.worker = self.worker.replacement()
        self._thread.replace(self.worker.work)

    def look(self, gone_s: float) -> None:
        """Look whether it stands still; see :meth:`Watchdog.look`."""
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


def with_standing(health: PartHealth, watch: Watchdog) -> PartHealth:
    """The same with what a stall watch has to say."""
    return replace(health, still_s=watch.still_s, restarts=watch.restarts, is_stalled=watch.is_stalled, standstill=watch.trouble)
