"""The recorded sessions: what there is, and the few that are open in memory."""

import contextlib
import threading
import time
from collections import OrderedDict
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from monitor.errors import MonitorError, SessionDamagedError
from monitor.layout import Layout
from monitor.runtime.session_near import SessionNear
from monitor.sessions import SessionFolder
from monitor.sessions.course import COURSE_COLUMNS, DistrictCourse, courses
from monitor.sessions.durable import is_held
from monitor.sessions.figures import COLUMNS, SessionReview, review
from monitor.sessions.folder import CLOSING, LOCK, MANIFEST, session_folders
from monitor.sessions.readings_log import load_readings

OPEN_LIMIT = 3
"""Sessions held in memory: some 100 MB each for three hours of sixteen districts."""
RECORDED_NOW = "being recorded"
KEPT_S = 2.0
"""A session that is not over is read again after so long, and after ten times what that took:"""
PATIENCE = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """One session of the listing.

    Attributes:
        id: By which pages ask for it: the name of its folder, looked up in the listing and never made into a path.
        began_at: When it began, in the time of this computer.
        length_s: How long it is; None where it is being recorded or was cut off.
        invented: Nothing of it was measured.
        state: "being recorded", "cut off" or empty.
    """

    id: str
    title: str
    began_at: datetime
    length_s: float | None
    invented: bool
    state: str
    session: SessionFolder

    @property
    def is_recorded_now(self) -> bool:
        """Whether it is being recorded at this moment."""
        return self.state == RECORDED_NOW


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenSession:
    """A session in memory.

    Attributes:
        listed: Its row of the listing.
        first_s: Where it begins, seconds of the stream.
        last_s: Where it ends.
        courses: Lowest and highest of every fifth of a second, by district.
        near: For looking closer; None where the raw bytes cannot be read yet.
    """

    listed: Listed
    layout: Layout
    figures: SessionReview
    first_s: float
    last_s: float
    courses: dict[str, DistrictCourse]
    near: SessionNear | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Held:
    session: OpenSession
    until_s: float

    def serves(self, listed: Listed) -> bool:
        """A session that is over never changes; one that is not serves for a while."""
        if self.session.listed.length_s is not None:
            return True
        return listed.length_s is None and time.monotonic() < self.until_s


class SessionCache:
    """The recorded sessions; any number of threads may ask.

    Args:
        recordings: The folder that holds them; None or a folder that does not exist holds none.
    """

    def __init__(self, recordings: Path | None) -> None:
        self.recordings = recordings
        self._lock = threading.Lock()
        self._open: OrderedDict[str, _Held] = OrderedDict()
        self._rows: dict[Path, tuple[tuple[int, ...], Listed]] = {}

    def listing(self) -> list[Listed]:
        """What there is, newest first; damaged ones are left out. Each visitor asks for it, so only what changed is read again."""
        before, rows = self._rows, {}
        for session in session_folders(self.recordings) if self.recordings is not None else ():
            stamp = _stamp(session)
            if stamp and session.path in before and before[session.path][0] == stamp:
                rows[session.path] = before[session.path]
                continue
            with contextlib.suppress(SessionDamagedError):
                rows[session.path] = stamp, _listed(session)
        self._rows = rows
        return sorted((row for _, row in rows.values()), key=lambda each: each.began_at, reverse=True)

    def find(self, session_id: str) -> Listed | None:
        """The session of that id; None where the listing has none."""
        return next((each for each in self.listing() if each.id == session_id), None)

    def open(self, listed: Listed) -> OpenSession:
        """Bring a session into memory.

        Raises:
            MonitorError: It cannot be understood.
        """
        with self._lock:
            held = self._open.get(listed.id)
            if held is None or not held.serves(listed):
                began_s = time.monotonic()
                opened = _opened(listed)
                took_s = time.monotonic() - began_s
                held = _Held(session=opened, until_s=time.monotonic() + max(KEPT_S, PATIENCE * took_s))
                self._open[listed.id] = held
                while len(self._open) > OPEN_LIMIT:
                    self._open.popitem(last=False)
            self._open.move_to_end(listed.id)
            return held.session


def _stamp(session: SessionFolder) -> tuple[int, ...]:
    """Another one where what is listed of it may have changed; empty where it is not over."""
    try:
        return tuple((session.path / name).stat().st_mtime_ns for name in (MANIFEST, CLOSING))
    except OSError:
        return ()


def _listed(session: SessionFolder) -> Listed:
    manifest, closing = session.manifest(), session.closing()
    state = "" if closing is not None else RECORDED_NOW if is_held(session.path / LOCK) else "cut off"
    return Listed(
        id=session.name,
        title=manifest.title,
        began_at=(manifest.began_at + timedelta(seconds=manifest.first_s)).astimezone(),
        length_s=None if closing is None else max(0.0, closing.ended_s - manifest.first_s),
        invented=manifest.invented,
        state=state,
        session=session,
    )


def _opened(listed: Listed) -> OpenSession:
    session = listed.session
    layout = session.layout()
    stored = load_readings(session, tuple(dict.fromkeys([*COLUMNS, *COURSE_COLUMNS])))
    figures = review(session, layout, stored)
    first_s = session.manifest().first_s
    return OpenSession(
        listed=listed,
        layout=layout,
        figures=figures,
        first_s=first_s,
        last_s=first_s + max(figures.duration_s, 1.0),
        courses=courses(stored),
        near=_near(listed, layout),
    )


def _near(listed: Listed, layout: Layout) -> SessionNear | None:
    if listed.length_s is None:
        return None
    try:
        return SessionNear(listed.session, layout)
    except (MonitorError, OSError):
        return None
