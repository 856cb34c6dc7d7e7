"""Long work of the review page: the figures of all sessions, one after the other, to be watched and to be stopped."""

import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from dashboard.session_cache import Listed
from monitor.errors import MonitorError
from monitor.sessions.figures import SessionReview
from monitor.sessions.trends import SessionTrend, trends

REVIEWS_LIMIT = 1000
Stage = Literal["idle", "working", "stopping", "stopped", "done"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendState:
    """How far it is.

    Attributes:
        state: "idle" (not asked for), "working", "stopping" (after the session that it is at), "stopped" or "done".
        total: Sessions to go through.
        unread: Names of sessions that could not be understood.
        found: The trends over those gone through.
    """

    state: Stage
    done: int
    total: int
    unread: tuple[str, ...]
    found: tuple[SessionTrend, ...]


IDLE = TrendState(state="idle", done=0, total=0, unread=(), found=())


class TrendJob:
    """Goes through sessions in a thread of its own; one job at a time for all viewers."""

    def __init__(self, figures: Callable[[Listed], SessionReview]) -> None:
        self._figures = figures
        self._known: OrderedDict[str, SessionReview] = OrderedDict()
        self._lock = threading.Lock()
        self._state = IDLE
        self._ids: tuple[str, ...] = ()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def state(self, sessions: Sequence[Listed]) -> TrendState:
        """How far it is with these sessions; idle where it last went through others."""
        with self._lock:
            return self._state if self._ids == _ids(sessions) else IDLE

    def start(self, sessions: Sequence[Listed]) -> None:
        """Begin with these sessions; where it is at them already it goes on."""
        with self._lock:
            if self._ids == _ids(sessions) and self._state.state in ("working", "done"):
                return
            self._stop.set()
            self._stop = threading.Event()
            self._ids = _ids(sessions)
            self._state = TrendState(state="working", done=0, total=len(sessions), unread=(), found=())
            self._thread = threading.Thread(target=self._work, args=(tuple(sessions), self._stop), name="trends", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """Stop after the session that it is at; what was found so far stays."""
        with self._lock:
            self._stop.set()
            if self._state.state == "working":
                self._state = replace(self._state, state="stopping")

    def join(self, seconds: float) -> None:
        """Wait until it is through, so long at most."""
        thread = self._thread
        if thread is not None:
            thread.join(seconds)

    def _work(self, sessions: tuple[Listed, ...], stop: threading.Event) -> None:
        reviews, unread = [], []
        for done, listed in enumerate(sessions, start=1):
            if stop.is_set():
                break
            try:
                reviews.append(self._review(listed))
            except (MonitorError, OSError):
                unread.append(listed.id)
            last = done == len(sessions)
            found = trends(reviews) if last or stop.is_set() else ()
            state: Stage = "done" if last else "stopping" if stop.is_set() else "working"
            self._report(stop, TrendState(state=state, done=done, total=len(sessions), unread=tuple(unread), found=found))
        else:
            return
        self._report(stop, TrendState(
            state="stopped", done=len(reviews), total=len(sessions), unread=tuple(unread), found=trends(reviews)
        ))  # fmt: skip

    def _review(self, listed: Listed) -> SessionReview:
        if listed.id not in self._known:
            self._known[listed.id] = self._figures(listed)
            while len(self._known) > REVIEWS_LIMIT:
                self._known.popitem(last=False)
        return self._known[listed.id]

    def _report(self, stop: threading.Event, state: TrendState) -> None:
        with self._lock:
            # Another job may have begun meanwhile: then this one has nothing more to say.
            if stop is self._stop:
                self._state = state


def _ids(sessions: Sequence[Listed]) -> tuple[str, ...]:
    return tuple(each.id for each in sessions)
