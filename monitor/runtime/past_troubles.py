"""Troubles of the last shows, out of what was recorded."""

from datetime import timedelta
from pathlib import Path

from monitor.errors import MonitorError
from monitor.layout import Layout
from monitor.planning.morning import PastShow, open_troubles
from monitor.sessions.durable import is_held
from monitor.sessions.folder import LOCK, SessionFolder, find_sessions
from monitor.sessions.notice_rows import read_notices
from monitor.values import Action, Event, Finding, Pattern
from monitor.values import Warning as RaisedWarning

SESSIONS_LIMIT = 12
"""The last ones of the last day: more are not read."""


def past_troubles(recordings: Path, layout: Layout) -> tuple[list[str], str]:
    """What was left open after the last day on which this layout ran, and that day for a person.

    Args:
        recordings: Where sessions are kept; need not exist.
        layout: The layout as it is now; only sessions of its title count, and no demonstrations.

    Returns:
        Sentences, and the day; empty where nothing was recorded.
    """
    shows: list[tuple[str, SessionFolder]] = []
    for session in find_sessions(recordings):
        manifest = session.manifest()
        if manifest.title == layout.title and not manifest.invented and not is_held(session.path / LOCK):
            began = (manifest.began_at + timedelta(seconds=manifest.first_s)).astimezone()
            shows.append((began.strftime("%A %d %B"), session))
    if not shows:
        return [], ""
    last_day = shows[-1][0]
    last = [_show(day, session) for day, session in shows if day == last_day][-SESSIONS_LIMIT:]
    return open_troubles(layout, last), last_day


def _show(day: str, session: SessionFolder) -> PastShow:
    try:
        marks = [action for action in read_notices(session, "actions", Action) if action.kind == "mark"]
        return PastShow(
            day=day,
            events=read_notices(session, "events", Event),
            warnings=read_notices(session, "warnings", RaisedWarning),
            patterns=read_notices(session, "patterns", Pattern),
            findings=read_notices(session, "findings", Finding),
            marks=marks,
        )
    except (OSError, MonitorError):
        # A session that cannot be read says nothing; the sessions command tells of it.
        return PastShow(day=day)
