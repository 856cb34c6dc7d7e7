"""Threads that are never silently dead: restarted where they raise, and where they stand still."""

import logging
import sys
import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Generic, Protocol, Self, TypeVar

_log = logging.getLogger(__name__)

BACK_OFF_S = (0.1, 0.5, 1.0, 2.0, 5.0)
"""Pauses before a failed part is started again, the last for all further ones."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartHealth:
    """How one part of the running watch is doing.

    Attributes:
        alive: True while its thread runs.
        failures: How often it failed and was started again.
        trouble: The last failure, one line; empty where there was none.
        still_s: Seconds since it last went round.
        restarts: How often it stood still for so long that it was restarted.
        is_stalled: Whether it stands still.
        standstill: One sentence about that, also for a while after it was restarted; empty where there is nothing to say.
    """

    name: str
    alive: bool
    failures: int
    trouble: str
    still_s: float = 0.0
    restarts: int = 0
    is_stalled: bool = False
    standstill: str = ""

    @property
    def is_well(self) -> bool:
        """Whether it does its work now."""
        return self.alive and not self.is_stalled


class SupervisedThread:
    """Runs work until stopped; work that raises is logged, reported by :meth:`health`, and started again after a pause.

    Args:
        name: For logs and for people.
        work: Called with the stop event; returns when it is set.
        back_off_s: Pauses before starting again.
    """

    def __init__(self, name: str, work: Callable[[threading.Event], None], back_off_s: tuple[float, ...] = BACK_OFF_S) -> None:
        self._name = name
        self._work = work
        self._back_off_s = back_off_s
        self._stop = threading.Event()
        self._failures = 0
        self._trouble = ""
        self._thread = self._made()

    def start(self) -> None:
        """Start; once."""
        self._thread.start()

    def ask_to_stop(self) -> None:
        """Ask the work to return."""
        self._stop.set()

    def replace(self, work: Callable[[threading.Event], None]) -> None:
        """Do this work in a new thread from now on. The old one, which cannot be ended from outside, is asked to stop and left behind."""
        if self._stop.is_set():
            return
        self._stop.set()
        self._stop, self._work = threading.Event(), work
        self._thread = self._made()
        self._thread.start()

    def where(self) -> str:
        """Where the thread is just now, as a traceback."""
        return where_is(self._thread)

    def join(self, timeout_s: float) -> bool:
        """Wait for the end.

        Returns:
            True where it ended in time.
        """
        if self._thread.ident is not None:
            self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def health(self) -> PartHealth:
        """How it is doing."""
        return PartHealth(name=self._name, alive=self._thread.is_alive(), failures=self._failures, trouble=self._trouble)

    def _made(self) -> threading.Thread:
        return threading.Thread(target=self._run, args=(self._work, self._stop), name=self._name, daemon=True)

    def _run(self, work: Callable[[threading.Event], None], stop: threading.Event) -> None:
        while not stop.is_set():
            try:
                work(stop)
            except Exception as error:  # noqa: BLE001 - whatever it is, the part has to come back
                self._failures += 1
                self._trouble = f"{type(error).__name__}: {error}"
                pause_s = self._back_off_s[min(self._failures, len(self._back_off_s)) - 1]
                _log.exception("%s failed (%d times so far); it starts again in %.1f s", self._name, self._failures, pause_s)
                stop.wait(pause_s)


def where_is(thread: threading.Thread) -> str:
    """Where a thread is just now, as a traceback."""
    frame = sys._current_frames().get(thread.ident or 0)  # noqa: SLF001 - documented, in spite of its name
    return "".join(traceback.format_stack(frame)) if frame is not None else "nowhere: it has ended"


STALLED_AFTER_S = 5.0
"""Every part goes round several times a second; one that did not for this long stands still."""
RESTARTED_AFTER_S = 20.0
"""And is restarted after this; well below what the inbox can hold meanwhile. Each further time in a row takes twice as long."""
LONGEST_WAIT_S = 300.0
REPORTED_FOR_S = 120.0
"""For so long after a restart it is reported."""


class Restartable(Protocol):
    """What can stand still."""

    @property
    def beats(self) -> int:
        """Goes up each time it goes round."""

    def restart(self) -> None:
        """Leave behind whatever stands still, and begin again without it."""


class Watchdog:
    """Watches one part.

    Time is counted in rounds of the supervisor: while the whole program stood still (a suspended computer) there were none, and
    nothing is held against any part.

    Args:
        name: The part's name, for people.
        part: The part.
        where: Where its thread is just now, for the log.
    """

    def __init__(self, name: str, part: Restartable, where: Callable[[], str] = str) -> None:
        self.name = name
        self.still_s = 0.0
        self.restarts = 0
        self._part = part
        self._where = where
        self._beats = part.beats
        self._wait_s = RESTARTED_AFTER_S
        self._since_restart_s = REPORTED_FOR_S

    @property
    def is_stalled(self) -> bool:
        """Whether it stands still."""
        return self.still_s >= STALLED_AFTER_S

    @property
    def trouble(self) -> str:
        """What people should know of it, one sentence; empty where all is well."""
        if self.is_stalled:
            return f"The {self.name} has stood still for {STALLED_AFTER_S:.0f} s and more; it is restarted if that goes on."
        if self._since_restart_s < REPORTED_FOR_S:
            return f"The {self.name} stood still and was restarted ({self.restarts} times so far)."
        return ""

    def look(self, gone_s: float) -> None:
        """Look at the part; restart it where it has stood still for long.

        Args:
            gone_s: Seconds since the last look, as far as the looker itself was awake.
        """
        was_stalled = self.is_stalled
        self._since_restart_s += gone_s
        if self._part.beats != self._beats:
            if was_stalled:
                _log.warning("the %s goes on after standing still for %.0f s", self.name, self.still_s)
            self._beats = self._part.beats
            self.still_s = 0.0
            if self._since_restart_s > LONGEST_WAIT_S:
                self._wait_s = RESTARTED_AFTER_S
            return
        self.still_s += gone_s
        if self.is_stalled and not was_stalled:
            _log.error("the %s stands still for more than %.0f s, here:\n%s", self.name, STALLED_AFTER_S, self._where())
        if self.still_s >= self._wait_s:
            self._restart()

    def _restart(self) -> None:
        self.restarts += 1
        _log.error("the %s stood still for %.0f s and is restarted", self.name, self.still_s)
        self._wait_s = min(2 * self._wait_s, LONGEST_WAIT_S)
        self.still_s = self._since_restart_s = 0.0
        self._part.restart()
        self._beats = self._part.beats


class Worker(Protocol):
    """What works in the thread."""

    beats: int

    def work(self, stop: threading.Event) -> None:
        """Work until stopped."""

    def replacement(self) -> Self:
        """Who takes over; the present one hands nothing on any more."""


W = TypeVar("W", bound=Worker)


class SupervisedWorker(Generic[W]):
    """One part of the running watch."""

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
