"""Sessions that grew old; nothing here is ever done unasked."""

import shutil
from datetime import datetime, timedelta
from pathlib import Path

from monitor.sessions.folder import LOCK, SessionFolder, find_sessions
from monitor.sessions.session_lock import is_held


def older_than(recordings: Path, days: float, now: datetime) -> list[SessionFolder]:
    """Closed sessions that ended more than so many days ago; one that is being recorded or was never closed is not among them."""
    found = []
    for session in find_sessions(recordings):
        closing = session.closing()
        if closing is not None and not is_held(session.path / LOCK):
            ended_at = session.manifest().began_at + timedelta(seconds=closing.ended_s)
            if now - ended_at > timedelta(days=days):
                found.append(session)
    return found


def remove(session: SessionFolder) -> None:
    """Remove a session for good."""
    shutil.rmtree(session.path)
