"""The review page: which sessions there are, one of them whole, and what everything is made of."""

from collections.abc import Sequence
from urllib.parse import urlencode

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.shelf import Listed, OpenSession
from dashboard.views.attributes import aria, hook
from dashboard.views.figures import seconds
from dashboard.views.review_figures import compared_table, district_table, losses, stall_table, supply_table
from dashboard.views.review_notices import happenings

KEYS = (
    ("←  →", "go along"),
    ("+  −", "closer, wider"),
    ("Home", "the whole session"),
    ("N  P", "next, previous fault or warning"),
    (",  .", "move the reading line"),
)


def address(session: str, beside: str | None = None) -> str:
    """Of the page with this session, and perhaps another one beside it."""
    query = {"session": session} if beside is None else {"session": session, "beside": beside}
    return f"/review?{urlencode(query)}"


def review_page(listing: Sequence[Listed], chosen: Listed | None, beside: Listed | None, asked: str) -> Component:
    """The frame of the page; what takes time to open comes after it.

    Args:
        listing: All sessions, newest first.
        chosen: The session to show.
        beside: The one to show beside it.
        asked: The id that was asked for, to say so where there is no such session.
    """
    told = {"sheet": chosen.id, "beside": beside.id if beside is not None else ""} if chosen is not None else {}
    main = (
        html.Div(id="review-main", **hook(**told)) if told else html.Div(html.P(_none(listing, asked), className="panel quiet"))
    )
    return html.Main(
        [
            html.Div(
                [
                    panel("Recorded sessions, newest first", session_list(listing, chosen, beside), kind="panel listing"),
                    main,
                ],
                className="review",
            ),
            html.Section(id="review-trends", className="panel"),
            dcc.Store(id="review-chosen", data=[chosen and chosen.id, beside and beside.id]),
            dcc.Interval(id="review-tick", interval=1000),
            html.Div(
                [html.Button(id="trend-start", n_clicks=0), html.Button(id="trend-stop", n_clicks=0)],
                hidden=True,
            ),
        ],
        className="page",
    )


def session_list(listing: Sequence[Listed], chosen: Listed | None, beside: Listed | None) -> Component:
    """Every session as a link, with a second link that sets it beside the chosen one."""
    if not listing:
        return html.P("None yet.", className="quiet")
    return html.Ul([_row(each, chosen, beside) for each in listing], className="occurrences sessions")


def _row(each: Listed, chosen: Listed | None, beside: Listed | None) -> Component:
    is_open = chosen is not None and each.id == chosen.id
    length = each.said if each.length_s is None else seconds(each.length_s)
    words = [
        html.Strong(f"{each.began_at:%d %b %Y, %H:%M}"),
        html.Span(length),
        html.Span([each.title, *([html.Em(" invented")] if each.invented else [])], className="quiet"),
    ]
    link = dcc.Link(words, href=address(each.id))
    other = None
    if chosen is not None and not is_open:
        is_beside = beside is not None and beside.id == each.id
        href = address(chosen.id, None if is_beside else each.id)
        name = "take it away again" if is_beside else "set beside"
        other = dcc.Link(name, href=href, className="beside-link")
    return html.Li([link, other], className="fault" if is_open else "deliberate", **(aria(current="true") if is_open else {}))


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
    """What the page says of one session, or of two side by side; the page's script puts it in."""
    if len(sessions) == 1:
        return opened(sessions[0], heading=False)
    first, second = sessions
    both = html.Div([html.Div(opened(each, heading=True), className="one-of-two") for each in sessions], className="two")
    return [both, panel("Side by side", compared_table(first.figures, second.figures))]


def opened(session: OpenSession, *, heading: bool) -> list[Component]:
    """One session: its time line, its figures, what happened.

    Args:
        session: The session.
        heading: True where it stands beside another one, and needs to be told from it.
    """
    figures = session.figures
    begins = session.listed.began_at
    words = f"{begins:%d %B %Y, %H:%M}, {seconds(figures.duration_s)}, {figures.stalls} stalls, {len(figures.warnings)} warnings"
    return [
        html.Section(
            [
                html.H2(words if heading else f"{figures.title}: {words}"),
                html.P("Invented by the rehearsal model: nothing in it was measured.", className="invented")
                if figures.invented
                else None,
                losses(figures),
                time_line(session),
                files(session.listed),
            ],
            className="panel",
        ),
        panel("Supplies", supply_table(figures, session.layout)),
        panel("Districts", district_table(figures), html.H3("What stopped trains, and how often"), stall_table(figures)),
        panel("What happened", happenings(figures, session.first_s)),
    ]


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


def panel(title: str, *children: Component | None, kind: str = "panel") -> Component:
    """A part of the page."""
    return html.Section([html.H2(title), *children], className=kind)
