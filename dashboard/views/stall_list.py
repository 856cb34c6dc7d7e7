"""The list of occurrences, newest first, as the page's script draws it."""

from collections.abc import Callable
from datetime import datetime

from dashboard.views.stall_words import lasted
from monitor.runtime.picture import Picture
from monitor.standing.words import WORD_OF_CAUSE
from monitor.values import Event

Json = dict[str, object]
LIMIT = 400
"""Rows that a browser draws at once without anybody waiting; the latest ones."""


def stall_list(picture: Picture, clock: Callable[[float], datetime | None], *, is_live: bool) -> Json:
    """Rows of the list, faults apart from what was done on purpose; while it goes on they say how long ago as well."""
    rows = [_row(event, picture.now_s, clock(event.start_s), is_live=is_live) for event in picture.events[:LIMIT]]
    opened = opened_event(picture)
    return {"rows": rows, "more": max(0, len(picture.events) - LIMIT), "opened": None if opened is None else opened.id}


def opened_event(picture: Picture, chosen: int | None = None) -> Event | None:
    """The event to open: the chosen one, else the newest fault, else the newest."""
    if chosen is not None:
        return next((event for event in picture.events if event.id == chosen), None)
    return next((event for event in picture.events if event.cause.is_fault), next(iter(picture.events), None))


def _row(event: Event, now_s: float, at: datetime | None, *, is_live: bool) -> Json:
    return {
        "id": event.id,
        "fault": event.cause.is_fault,
        "what": WORD_OF_CAUSE[event.cause],
        "where": event.district,
        "at": "" if at is None else f"{at:%H:%M:%S}",
        "ago_s": round(max(0.0, now_s - event.start_s), 1) if is_live else None,
        "lasted": lasted(event, now_s) if is_live or event.end_s is not None else "to the end",
    }
