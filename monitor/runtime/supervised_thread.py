"""A thread that is never silently dead."""

import logging
import sys
import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass

_log = logging.getLogger(__name__)

BACK_OFF_S = (0.1, 0.5, 1.0, 2.0, 5.0)
"""Pauses before a failed part is started again, the last for all further ones."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartHealth:
    """How one part of the running watch is doing.

    Attributes:
        name: Which part.
        alive: True while its thread runs.
        failures: How often it failed and was started again.
        trouble: The last failure, one line; empty where there was none.
        still_s: Seconds since it last went round.
        restarts: How often it stood still for so long that it was begun anew.
        is_stalled: Whether it stands still.
        standstill: One sentence about that, also for a while after it was begun anew; empty where there is nothing to say.
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
    """Runs work until stopped; work that raises is logged, told by :meth:`health`, and started again after a pause.

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
        """Do this work in a new thread from now on. The old one, which cannot be ended from outside, is told to stop and left behind."""
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
