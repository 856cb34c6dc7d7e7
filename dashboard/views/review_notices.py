"""What happened in a session: as a list to go by, and as the marks of its time line."""

from dataclasses import dataclass

from dash import html
from dash.development.base_component import Component

from dashboard.session_cache import OpenSession
from dashboard.views.attributes import hook
from monitor.sessions.figures import SessionReview
from monitor.sessions.pictures import clock_words
from monitor.standing.notices import LEVEL_OF_PRIORITY
from monitor.standing.words import WORD_OF_CAUSE, WORD_OF_LEVEL
from monitor.words.figures import seconds

ROWS_LIMIT = 400
"""Rows of the list; the time line shows all."""


@dataclass(frozen=True, slots=True)
class _Row:
    at_s: float
    end_s: float | None
    what: str
    where: str
    kind: str
    level: str = ""
    more: str = ""
    event: str = ""


def happenings(figures: SessionReview, first_s: float) -> Component:
    """Events, warnings and marks in their order, each a button that moves the time line there."""
    rows = _rows(figures)
    if not rows:
        return html.P("Nothing out of the ordinary.", className="quiet")
    left_out = len(rows) - ROWS_LIMIT
    if left_out > 0:
        # What people did on purpose matters least; of the rest the first ones.
        rows = sorted(sorted(rows, key=lambda row: row.kind == "deliberate")[:ROWS_LIMIT], key=lambda row: row.at_s)
    items = [_item(row, first_s) for row in rows]
    said = f"{left_out} more stand on the time line and in the session's own files." if left_out > 0 else ""
    return html.Div([html.Ul(items, className="occurrences happenings"), html.P(said, className="quiet") if said else None])


def _item(row: _Row, first_s: float) -> Component:
    lasted = "to the end" if row.end_s is None else seconds(row.end_s - row.at_s) if row.end_s - row.at_s >= 10 else ""
    if row.end_s is not None and not lasted and row.end_s > row.at_s:
        lasted = f"{row.end_s - row.at_s:.1f} s"
    words = [
        html.Strong(row.what),
        html.Span(row.where),
        html.Span(
            [clock_words(row.at_s - first_s), f", {lasted}" if lasted else "", f". {row.more}" if row.more else ""],
            className="quiet",
        ),
    ]
    button = html.Button(
        words,
        type="button",
        **hook(goto=f"{row.at_s:.3f}", until="" if row.end_s is None else f"{row.end_s:.3f}", event=row.event),
    )
    return html.Li(button, className=row.kind, **(hook(level=row.level) if row.level else {}))


def _rows(figures: SessionReview) -> list[_Row]:
    rows = [
        _Row(
            e.start_s, e.end_s, WORD_OF_CAUSE[e.cause], e.district, "fault" if e.cause.is_fault else "deliberate", event=str(e.id)
        )
        for e in figures.events
    ]
    rows += [
        _Row(
            w.start_s, w.end_s, f"Warning: {WORD_OF_LEVEL[level]}", w.scope.name, "warned", level.value, w.message,
        )
        for w, level in ((w, LEVEL_OF_PRIORITY[w.priority]) for w in figures.warnings)
    ]  # fmt: skip
    rows += [_Row(m.at_s, m.at_s, f"Remark: {m.text}", m.district or "all districts", "remark") for m in figures.marks]
    return sorted(rows, key=lambda row: row.at_s)


def time_line_marks(session: OpenSession) -> dict[str, object]:
    """What the time line draws besides the courses, plain enough for JSON; an end that is not known is the session's."""
    figures = session.figures
    lanes = [district.name for district in session.layout.district]
    zero = figures.began_at.astimezone()
    return {
        "first_s": session.first_s,
        "last_s": session.last_s,
        "recording": session.listed.is_recorded_now,
        "clock_s": zero.hour * 3600 + zero.minute * 60 + zero.second,
        "lanes": lanes,
        "events": [
            [
                lanes.index(e.district), e.start_s, session.last_s if e.end_s is None else e.end_s, int(e.cause.is_fault),
                WORD_OF_CAUSE[e.cause], e.id,
            ]
            for e in figures.events
            if e.district in lanes
        ],
        "warnings": [
            [int(w.priority), w.start_s, session.last_s if w.end_s is None else w.end_s, f"{w.scope.name}: {w.message}"]
            for w in figures.warnings
        ],
        "marks": [[m.at_s, m.text] for m in figures.marks],
    }  # fmt: skip
