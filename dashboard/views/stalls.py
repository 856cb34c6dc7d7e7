"""The Stalls page: what happened, why, where on the lap, and whether what was done about it helped."""

from collections.abc import Sequence
from datetime import datetime
from urllib.parse import quote

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.views.attributes import aria, hook
from dashboard.views.help_words import asks, panel
from dashboard.views.lap_ring import lap_ring, ring_names
from dashboard.views.markup import svg_image
from dashboard.views.plots import moment_plot, plot
from dashboard.views.stall_words import (
    VERDICT,
    board_sentences,
    chance_words,
    evidence_rows,
    how_sure,
    lasted,
    pattern_sentence,
    slow_sentence,
    steps_to_try,
    what,
)
from monitor.layout import Layout
from monitor.runtime.picture import Picture
from monitor.standing.words import WORD_OF_CAUSE
from monitor.values import Event, Pattern, Snapshot

NOW = "what runs now"


def stalls_page(
    layout: Layout, sessions: Sequence[tuple[str, str]], session_id: str, chosen: int | None, now: str = NOW
) -> Component:
    """The page's frame; what stands in it comes at once by itself.

    Args:
        layout: The layout.
        sessions: Id and name of the recorded sessions, newest first.
        session_id: The one that is shown; empty for the running watch.
        chosen: Id of the event that is opened; None opens the newest fault.
        now: What the running watch is called.
    """
    left = [
        panel("What happened", "stall-list", html.Div(id="stall-list", **hook(session=session_id))),
        panel("Where on the lap", "lap", html.Div(id="stall-places"), *([] if session_id else [_station_button()])),
        panel("Against earlier sessions", "slow", html.Div(id="stall-earlier")),
        panel("What changes slowly", "slow", html.Div(id="stall-slow")),
    ]
    right = [
        html.Section(html.P("…"), className="panel moment", id="stall-moment", tabIndex="-1"),
        panel(
            "What was done, and did it help?", "done", *([] if session_id else [_marking(layout)]), html.Div(id="stall-effects")
        ),
    ]
    return html.Main(
        [
            html.A("Skip to why it stalled", href="#stall-moment", className="skip"),
            _choice(sessions, session_id, now),
            html.Div([html.Div(left), html.Div(right)], className="stalls"),
            dcc.Store(id="stall-session", data=session_id),
            dcc.Store(id="stall-chosen", data=chosen),
            dcc.Store(id="stall-shown", data=None),
            dcc.Store(id="stall-drawn", data=None),
            dcc.Store(id="stall-news", data=0),
            dcc.Interval(id="stall-tick", interval=5000, disabled=bool(session_id)),
        ],
        className="page",
        **hook(scripts="plots stalls"),
    )


def no_such_session(session_id: str) -> Component:
    """Instead of the page, where a session is not there or cannot be understood."""
    words = f"There is no session {session_id!r} that can be read: 'pilotlamp sessions recover' puts cut-off ones in order. "
    return html.Main(html.P([words, dcc.Link("Look at what is running now.", href="/stalls")]), className="page")


def _choice(sessions: Sequence[tuple[str, str]], session_id: str, now: str) -> Component | None:
    if not sessions:
        return None
    names = [("", now), *sessions]
    options = [html.Option(name, value=number, selected=number == session_id) for number, name in names]
    return html.Label(["Stalls of ", html.Select(options, id="stall-choice")], className="marking-done choice")


def moment(
    event: Event | None, snapshot: Snapshot | None, picture: Picture, at: datetime | None, session_id: str, layout: Layout
) -> list[Component | None]:
    """One occurrence from near."""
    if event is None:
        return [html.H2("The moment"), html.P("Choose what happened from the list; older ones are kept with the session.")]
    steps = steps_to_try(event, picture.patterns, picture.events, layout)
    way = "lasted" if event.end_s is not None else "has been"
    when = "" if at is None else f" {at:%d %B, %H:%M:%S}."
    return [
        html.Div([html.H2(f"{event.district}: {WORD_OF_CAUSE[event.cause]}"), asks("moment")], className="title-row"),
        html.P(what(event), className="what"),
        html.P(f"We are {how_sure(event.confidence)}. It {way} {lasted(event, picture.now_s)}.{when}", className="quiet"),
        # Of a recorded session no samples come later: then there is nothing to draw.
        *(_plotted(snapshot, event, layout) if snapshot is not None or not session_id else []),
        html.P(_key(snapshot, is_live=not session_id), className="quiet"),
        html.P(_files(event, snapshot, session_id), className="files"),
        html.Div(
            [
                html.Div([html.H3("What to try, likeliest first"), html.Ol([html.Li(step) for step in steps])])
                if steps
                else None,
                html.Div([html.H3("Figures"), html.Dl(_table(evidence_rows(event)), className="table")]),
            ],
            className="beside",
        ),
    ]


def _plotted(snapshot: Snapshot | None, event: Event, layout: Layout) -> list[Component]:
    forms = [("rms", "Course"), ("waves", "Waves")]
    return [
        plot(moment_plot(snapshot, event, layout.mains.hertz), "Volts and amps around it; its figures stand below"),
        html.Div(
            [
                html.Button(name, type="button", **hook(plot_form=form), **aria(pressed=str(form == "rms").lower()))
                for form, name in forms
            ],
            className="choose-plot",
            role="group",
            **aria(label="How it is drawn"),
        ),
    ]


def _key(snapshot: Snapshot | None, *, is_live: bool) -> str:
    if snapshot is None:
        none = "No samples of this moment are at hand: "
        later = "they come some tenths of a second after its end; " if is_live else ""
        return f"{none}{later}a board that sends readings only has none."
    names = list(dict.fromkeys(channel.district for channel in snapshot.channels))
    others = f" Grey, in the background: {', '.join(names[1:4])}." if len(names) > 1 else ""
    return f"Shaded: while it went on. Dashed: the usual just before.{others}"


def _files(event: Event, snapshot: Snapshot | None, session_id: str) -> list[Component]:
    if snapshot is None:
        return []
    forms = (("csv", "CSV"), ("comtrade", "COMTRADE"), ("comtrade-ascii", "COMTRADE as text"))
    of = f"?session={quote(session_id)}" if session_id else ""
    links = [html.A(text, href=f"/stalls/event-{event.id}/{form}{of}", download="", className="button") for form, text in forms]
    return [html.Span("Take the samples:"), *links]


def _table(rows: list[tuple[str, str]]) -> list[Component]:
    return [part for label, figure in rows for part in (html.Dt(label), html.Dd(figure))]


def places(picture: Picture) -> list[Component]:
    """Patterns and the ring that shows them."""
    boards: list[Component] = [html.P(sentence, className="quiet") for sentence in board_sentences(picture.boards)]
    if not picture.patterns:
        return [
            *boards,
            html.P("Five events of a district and a few laps are needed before a place can be named.", className="quiet"),
        ]
    said = [_pattern(pattern) for pattern in picture.patterns]
    ring = lap_ring(picture.patterns, picture.events)
    drawn = [svg_image(ring, "Where on the lap it happened; in words above", "ring")] if ring else []
    names = ring_names(picture.patterns)
    key = (
        (f"From the inside out: {', '.join(names)}. " if len(names) > 1 else "")
        + "One turn is one lap, clockwise, counted from where the train was when watching began, which is known within a tenth of a lap; "
        "several trains of a district are not told apart. "
        "Press the button when the train passes the station, and places are counted from there."
    )
    return [*boards, html.Ul(said, className="patterns"), *drawn, html.P(key, className="quiet") if drawn else html.Span()]


def _pattern(pattern: Pattern) -> Component:
    sentence, chance = html.Span(pattern_sentence(pattern)), html.Span(chance_words(pattern.p_value), className="quiet")
    return html.Li([html.Strong(VERDICT[pattern.verdict]), sentence, chance])


def slow_lines(picture: Picture) -> list[Component]:
    """Slow figures with what they mean."""
    if not picture.slow_figures:
        return [html.P("Steps of load, measured feeders and longer running are needed first.", className="quiet")]
    lines = [slow_sentence(figure) for figure in picture.slow_figures]
    return [
        html.Ul(
            [html.Li([html.Strong(line), html.Span(meaning, className="quiet")]) for line, meaning in lines], className="slow"
        )
    ]


def _marking(layout: Layout) -> Component:
    named = [html.Option(row.name, value=row.name) for row in layout.district]
    return html.Div(
        [
            html.Label(
                ["What was done ", dcc.Input(id="stall-done", type="text", maxLength=200, placeholder="cleaned rails", size="28")]
            ),
            html.Label(["Where ", html.Select([html.Option("all districts", value=""), *named], id="stall-where")]),
            html.Button("Remember it", type="button", **hook(remember="")),
            html.Span(className="said", role="status", **hook(remembered=""), **aria(live="polite")),
        ],
        className="marking-done",
    )


def _station_button() -> Component:
    """Counts places from the station from now on: the remark that the diagnosis listens for."""
    return html.Button("The train passes the station now", type="button", **hook(station=""))
