"""What the review page wants of recorded sessions, each a job for a worker process: it reads files that may be large, or hostile."""

import datetime as dt
import functools
import tempfile
from pathlib import Path

import msgspec

from dashboard.session_cache import Listed, OpenSession, SessionCache
from dashboard.trace_routes import stretch
from dashboard.views.markup import markup
from dashboard.views.review import sheet
from dashboard.views.review_notices import time_line_marks
from monitor.errors import SessionError
from monitor.planning.outstanding import outstanding
from monitor.sessions.csv_export import csv_pieces
from monitor.sessions.figures import SessionReview
from monitor.sessions.pack import pack
from monitor.sessions.report import report


def sheet_html(recordings: Path | None, session_ids: tuple[str, ...]) -> str:
    """One session whole, or two side by side."""
    return markup(sheet([_open(recordings, session_id) for session_id in session_ids]))


def marks_json(recordings: Path | None, session_id: str) -> bytes:
    """What stands on the time line."""
    return msgspec.json.encode(time_line_marks(_open(recordings, session_id)))


def trace_bytes(recordings: Path | None, session_id: str, from_s: float, to_s: float, points: int) -> bytes:
    """A stretch of it; see :func:`dashboard.trace_routes.stretch`."""
    return stretch(_open(recordings, session_id), from_s, to_s, points)


def report_html(recordings: Path | None, session_id: str) -> str:
    """The report to print."""
    session = _find(recordings, session_id).session
    layout = session.layout()
    return report(session, outstanding(layout, today=dt.datetime.now().astimezone().date()), layout)


def table_file(recordings: Path | None, session_id: str) -> Path:
    """A file with the table of its readings, in a new folder; remove that when it is sent."""
    pieces = csv_pieces(_find(recordings, session_id).session)
    path = Path(tempfile.mkdtemp(prefix="pilotlamp-")) / "session.csv"
    with path.open("wb") as file:
        file.writelines(pieces)
    return path


def packed_file(recordings: Path | None, session_id: str) -> Path:
    """A file with the packed session, likewise."""
    session = _find(recordings, session_id).session
    return pack(session, Path(tempfile.mkdtemp(prefix="pilotlamp-")) / "session.zip")


def session_figures(recordings: Path | None, session_id: str) -> SessionReview:
    """The figures alone, of a session that is over."""
    return _cache(recordings).review(_find(recordings, session_id))


def _open(recordings: Path | None, session_id: str) -> OpenSession:
    return _cache(recordings).open(_find(recordings, session_id))


def _find(recordings: Path | None, session_id: str) -> Listed:
    listed = _cache(recordings).find(session_id)
    if listed is None:
        raise SessionError(f"{session_id} is not there any more: choose another from the list")
    return listed


@functools.cache
def _cache(recordings: Path | None) -> SessionCache:
    return SessionCache(recordings)
