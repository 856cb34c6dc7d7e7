"""The review page: which sessions there are, one of them whole, and what everything is made of."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.session_cache import Listed, OpenSession
from dashboard.views.attributes import aria, hook
from dashboard.views.help_words import asks
from dashboard.views.markup import markup
from dashboard.views.review_figures import compared_table, district_table, losses, stall_table, supply_table
from dashboard.views.review_notices import happenings
from dashboard.views.review_trends import trends_section
from monitor.sessions.pictures import clock_words, counted
from monitor.words.figures import seconds

KEYS = (
    ("←  →", "go along"),
    ("+  −", "closer, wider"),
    ("Home", "the whole session"),
    ("N  P", "next, previous fault or warning"),
    (",  .", "move the reading line"),
)


FEW = 5
"""So many sessions need no search."""
NO_EVENT = (
    "Choose what happened from the list below, or go through it by N and P on the time line: the samples around it stand here."
)


def address(session: str, beside: str | None = None) -> str:
    """Of the page with this session, and perhaps another one beside it."""
    query = {"session": session} if beside is None else {"session": session, "beside": beside}
    return f"/review?{urlencode(query)}"


def review_page(listing: Sequence[Listed], chosen: Listed | None, beside: Listed | None, asked: str, at: str = "") -> Component:
    """The frame of the page; what takes time to open comes after it.

    Args:
        listing: All sessions, newest first.
        chosen: The session to show.
        beside: The one to show beside it.
        asked: The id that was asked for, to say so where there is no such session.
        at: The moment to begin with, seconds of the stream; empty for the whole session.
    """
    ids = {"sheet": chosen.id, "beside": beside.id if beside is not None else "", "at": at} if chosen is not None else {}
    main = _column(ids) if ids else html.Div(html.P(_none(listing, asked), className="panel quiet"))
    return html.Main(
        [
            html.Div(
                [
                    panel("Sessions", session_list(listing, chosen, beside), kind="panel listing", topic="sessions"),
                    main,
                ],
                className="review",
            ),
            trends_section(),
            dcc.Store(id="review-chosen", data=[chosen and chosen.id, beside and beside.id]),
            dcc.Store(id="review-event", data=None),
            dcc.Interval(id="review-tick", interval=1000),
            dcc.Location(id="review-address", refresh="callback-nav"),
        ],
        className="page",
        **hook(scripts="plots review review_draw review_hands review_page"),
    )


def _column(ids: dict[str, str]) -> Component:
    """Time lines, the moment of one event, and all the rest; the page's script and the callbacks fill them."""
    return html.Div(
        [
            html.Div(id="review-main", **hook(**ids)),
            html.Section(no_moment(), className="panel moment", id="review-moment", tabIndex="-1"),
            html.Div(id="review-rest"),
        ],
        className="review-column",
    )


def no_moment(words: str = NO_EVENT) -> list[Component | None]:
    """Instead of the samples of an event."""
    return [html.H2("The moment"), html.P(words, className="quiet")]


def session_list(listing: Sequence[Listed], chosen: Listed | None, beside: Listed | None) -> Component:
    """Every session as a link, with a second link that sets it beside the chosen one."""
    if not listing:
        return html.P("None yet.", className="quiet")
    months: dict[str, list[Component]] = {}
    for each in listing:
        months.setdefault(f"{each.began_at:%B %Y}", []).append(_row(each, chosen, beside))
    # Of months other than the newest one and that of what is shown, the name alone: a folder of years stays a short list.
    opened = {f"{each.began_at:%B %Y}" for each in (listing[0], chosen, beside) if each is not None}
    parts = [
        html.Details([html.Summary(f"{month} ({len(rows)})"), html.Ul(rows)], open=month in opened, **hook(month=month))
        for month, rows in months.items()
    ]
    find = html.Label(
        ["Find ", html.Span(**hook(find_session="", label="Find a session by day, month or title"))], className="find-session"
    )
    # As markup: the page framework would take seconds over some hundred rows of its own components.
    rows = html.Div(className="occurrences sessions", **hook(rows=markup(parts)))
    return html.Div([*([find] if len(listing) > FEW else []), rows])


def _row(each: Listed, chosen: Listed | None, beside: Listed | None) -> Component:
    is_open = chosen is not None and each.id == chosen.id
    length = each.state if each.length_s is None else seconds(each.length_s)
    words = [
        html.Strong(f"{each.began_at:%a %d %b, %H:%M}"),
        html.Span(length),
        html.Span([each.title, *([html.Em(", invented")] if each.invented else [])], className="quiet"),
    ]
    link = html.A(words, href=address(each.id))
    other = None
    is_beside = beside is not None and beside.id == each.id
    if chosen is not None and not is_open:
        href = address(chosen.id, None if is_beside else each.id)
        name = "is set beside: take it away" if is_beside else "set beside"
        about = f"{each.began_at:%d %b %Y, %H:%M}, beside {chosen.began_at:%d %b %Y, %H:%M}"
        other = html.A(name, href=href, className="beside-link", title=about)
    kind = "fault" if is_open else "is-beside" if is_beside else "deliberate"
    return html.Li(
        [link, other],
        className=kind,
        **hook(words=f"{each.began_at:%d %B %Y %b} {each.title}".lower()),
        **(aria(current="true") if is_open else {}),
    )


def _none(listing: Sequence[Listed], asked: str) -> str:
    if asked:
        return f'There is no session "{asked[:80]}" in this folder: choose one from the list.'
    if listing:
        return "Choose a session from the list."
    return (
        "No session has been recorded in this folder yet. What the watch sees from now on is recorded and can be reviewed here; "
        "for a few invented ones run 'pilotlamp sessions demo'."
    )


def sheet(sessions: Sequence[OpenSession]) -> list[Component]:
    """What the page says of one session, or of two side by side, in two parts: the time lines, and all the rest."""
    has_two = len(sessions) > 1
    lines = [html.Div(_line_panel(each, heading=has_two), **_one(each, of_two=has_two)) for each in sessions]
    rests = [html.Div(_rest_panels(each, heading=has_two), **_one(each, of_two=has_two)) for each in sessions]
    if not has_two:
        return [html.Div(lines), html.Div(rests)]
    compared = panel("Side by side", compared_table(sessions[0].figures, sessions[1].figures))
    return [html.Div(html.Div(lines, className="two")), html.Div([html.Div(rests, className="two"), compared])]


def _one(session: OpenSession, *, of_two: bool) -> dict[str, Any]:
    return {"className": "one-of-two" if of_two else "one", **hook(of=session.listed.id)}


def _line_panel(session: OpenSession, *, heading: bool) -> Component:
    """What session it is, and its time line; with a heading where another one stands beside it."""
    return html.Section(
        [html.Div(_head(session, heading=heading), **hook(head=session.listed.id)), time_line(session), files(session.listed)],
        className="panel",
    )


def _head(session: OpenSession, *, heading: bool) -> list[Component | None]:
    figures = session.figures
    happened = f"{counted(figures.stalls, 'stall')}, {counted(len(figures.warnings), 'warning')}"
    words = f"{_when(session)}, {seconds(figures.duration_s)}, {happened}"
    return [
        html.H2(words if heading else f"{figures.title}: {words}"),
        html.P("Invented by the rehearsal model: nothing in it was measured.", className="invented")
        if figures.invented
        else None,
        html.P(_recorded_words(session), className="recorded", **hook(recorded=""))
        if session.listed.is_recorded_now
        else losses(figures),
    ]


def _recorded_words(session: OpenSession) -> str:
    length_s = session.last_s - session.first_s
    until = session.listed.began_at + timedelta(seconds=length_s)
    return f"Being recorded. Shown up to {until:%H:%M:%S} ({clock_words(length_s)}); this page renews it by itself."


def _rest_panels(session: OpenSession, *, heading: bool) -> list[Component]:
    figures = session.figures
    of = f" on {_when(session)}" if heading else ""
    return [
        panel(f"Supplies{of}", supply_table(figures, session.layout), topic="tables"),
        panel(f"Districts{of}", district_table(figures), html.H3("What stopped trains, and how often"), stall_table(figures)),
        panel(f"What happened{of}", happenings(figures, session.first_s)),
    ]


def _when(session: OpenSession) -> str:
    return f"{session.listed.began_at:%d %B %Y, %H:%M}"


def time_line(session: OpenSession) -> Component:
    """The canvases, and what moves them; the page's script fills them."""
    return html.Div(
        [
            html.Div(
                [
                    _button("whole", "Whole session"),
                    _button("in", "+", "closer"),
                    _button("out", "−", "wider"),
                    _button("back", "◀", "earlier"),
                    _button("on", "▶", "later"),
                    _button("previous", "Previous", "previous fault or warning"),
                    _button("next", "Next fault or warning"),
                ],
                className="moves",
                role="group",
                **aria(label="Move along the session"),
            ),
            html.P("", className="range", role="status", **hook(range="")),
            html.Canvas(className="overview", **hook(overview=""), **aria(hidden="true")),
            html.Canvas(
                className="lanes",
                tabIndex="0",
                role="application",
                **hook(lanes=""),
                **aria(label="Volts and amps of every district over time. Arrow keys, plus, minus, Home, N and P move it."),
            ),
            html.P("", className="reading", **hook(reading="")),
            html.Button("Look at its samples", type="button", hidden=True, **hook(to_moment="")),
            _key(),
        ],
        className="course",
        **hook(review=session.listed.id),
    )


def files(listed: Listed) -> Component:
    """What can be taken along."""
    query = urlencode({"session": listed.id})
    links = [
        html.A("Why did it stall?", href=f"/stalls?{query}"),
        html.A("Report to print", href=f"/review/report?{query}", target="_blank", rel="noopener"),
    ]
    links.append(html.A("Readings as a table (CSV)", href=f"/review/table.csv?{query}", download=""))
    if listed.length_s is not None:
        links.append(html.A("The whole session as one file", href=f"/review/pack?{query}", download=""))
    return html.P(links, className="files")


def _key() -> Component:
    kinds = [
        html.Span("volts", className="key volts"),
        html.Span("amps", className="key amps"),
        html.Span("▲ fault, with how long it went on", className="mark fault"),
        html.Span("▫ done on purpose", className="mark"),
    ]
    keys = [html.Span([html.Kbd(key), f" {word}"]) for key, word in KEYS]
    hint = "Drag across to look closer; on a touch screen drag to go along and pinch to look closer."
    return html.Details(
        [html.Summary("What it shows, and keys"), html.P([*kinds], className="keys"), html.P([hint, *keys], className="keys")]
    )


def _button(does: str, text: str, name: str = "") -> Component:
    return html.Button(text, type="button", **hook(move=does), **(aria(label=name) if name else {}))


def panel(title: str, *children: Component | None, kind: str = "panel", topic: str = "") -> Component:
    """A part of the page, with help where it has a topic."""
    head = html.Div([html.H2(title), asks(topic)], className="title-row") if topic else html.H2(title)
    return html.Section([head, *children], className=kind)
