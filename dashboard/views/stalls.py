"""The Stalls page: what happened, why, where on the lap, and whether what was done about it helped."""

from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.views.attributes import aria, hook
from dashboard.views.figures import seconds
from dashboard.views.lap_ring import lap_ring
from dashboard.views.stall_moment import moment_figure
from dashboard.views.stall_words import (
    TRY,
    VERDICT,
    WHAT,
    chance_words,
    evidence_rows,
    how_sure,
    lasted,
    pattern_sentence,
    slow_sentence,
)
from dashboard.views.words import WORD_OF_CAUSE
from monitor.diagnosis.rates import RateChange, compare_rates
from monitor.layout import Layout
from monitor.runtime import Picture
from monitor.values import Action, Event, Pattern, Snapshot

GRAPH_CONFIG: Any = {"displayModeBar": False, "responsive": True, "showSendToCloud": False}
LEAST_SPAN_S = 30.0
"""A rate over less time says nothing."""


def stalls_page(layout: Layout, picture: Picture, snapshot: Snapshot | None, chosen: int | None) -> Component:
    """The whole page as it stands.

    Args:
        layout: The layout.
        picture: How everything stands.
        snapshot: Samples around the chosen event.
        chosen: Id of the event that is opened; None opens the newest fault.
    """
    event = chosen_event(picture, chosen)
    return html.Main(
        [
            html.Div(
                [
                    html.Div(
                        [
                            _panel("What happened, newest first", html.Div(occurrences(picture, event), id="stall-list")),
                            _panel("Where on the lap", html.Div(places(picture), id="stall-places")),
                        ]
                    ),
                    html.Div(
                        [
                            html.Section(moment(event, snapshot, picture.now_s), className="panel", id="stall-moment"),
                            _panel(
                                "What was done, and did it help?",
                                _marking(layout),
                                html.Div(effects(picture), id="stall-effects"),
                            ),
                            _panel("What changes slowly", html.Div(slow_lines(picture), id="stall-slow")),
                        ]
                    ),
                ],
                className="stalls",
            ),
            dcc.Store(id="stall-chosen", data=chosen),
            dcc.Store(id="stall-shown", data=None),
            dcc.Interval(id="stall-tick", interval=2000),
        ],
        className="page",
    )


def chosen_event(picture: Picture, chosen: int | None) -> Event | None:
    """The event to open: the chosen one, else the newest fault, else the newest."""
    newest = next((event for event in picture.events if event.cause.is_fault), next(iter(picture.events), None))
    return next((event for event in picture.events if event.id == chosen), newest if chosen is None else None)


def occurrences(picture: Picture, opened: Event | None) -> Component:
    """The list of occurrences, newest first; what people did on purpose is quieter."""
    if not picture.events:
        return html.P("Nothing so far.", className="quiet")
    rows = [_occurrence(event, picture.now_s, is_open=opened is not None and event.id == opened.id) for event in picture.events]
    return html.Ul(rows, className="occurrences")


def _occurrence(event: Event, now_s: float, *, is_open: bool) -> Component:
    kind = "fault" if event.cause.is_fault else "deliberate"
    return html.Li(
        dcc.Link(
            [
                html.Strong(WORD_OF_CAUSE[event.cause]),
                html.Span(event.district),
                html.Span(f"{seconds(max(0.0, now_s - event.start_s))} ago, {lasted(event, now_s)}", className="quiet"),
            ],
            href=f"/stalls?event={event.id}",
        ),
        className=kind,
        **hook(event=str(event.id)),
        **(aria(current="true") if is_open else {}),
    )


def moment(event: Event | None, snapshot: Snapshot | None, now_s: float) -> list[Component]:
    """One occurrence from near."""
    if event is None:
        return [html.H2("The moment"), html.P("Choose what happened from the list; older ones are kept with the session.")]
    steps = TRY[event.cause]
    return [
        html.H2(f"{event.district}: {WORD_OF_CAUSE[event.cause]}"),
        html.P(WHAT[event.cause], className="what"),
        html.P(f"We are {how_sure(event.confidence)}. Time: {lasted(event, now_s)}.", className="quiet"),
        dcc.Graph(figure=moment_figure(snapshot, event), config=GRAPH_CONFIG, className="moment-plot", id="stall-plot"),
        html.P(_key(snapshot), className="quiet"),
        html.P(_files(event, snapshot), className="files"),
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


def _key(snapshot: Snapshot | None) -> str:
    if snapshot is None:
        return "There are no samples of this moment: the board sends readings only, or they were let go; the session keeps them."
    names = list(dict.fromkeys(channel.district for channel in snapshot.channels))
    others = f" Grey: {', '.join(names[1:4])}." if len(names) > 1 else ""
    return f"Shaded: while it went on. Dashed: the usual just before.{others}"


def _files(event: Event, snapshot: Snapshot | None) -> list[Component]:
    if snapshot is None:
        return []
    forms = (("csv", "CSV"), ("comtrade", "COMTRADE"), ("comtrade-ascii", "COMTRADE as text"))
    links = [html.A(text, href=f"/stalls/event-{event.id}/{form}", download="", className="button") for form, text in forms]
    return [html.Span("Take the samples:"), *links]


def _table(rows: list[tuple[str, str]]) -> list[Component]:
    return [part for label, figure in rows for part in (html.Dt(label), html.Dd(figure))]


def places(picture: Picture) -> list[Component]:
    """Patterns and the ring that shows them."""
    if not picture.patterns:
        return [html.P("Six events of a district and a few laps are needed before anything can be said.", className="quiet")]
    said = [_pattern(pattern, picture.marks) for pattern in picture.patterns]
    ring = lap_ring(picture.patterns, picture.events)
    drawn = [dcc.Graph(figure=ring, config=GRAPH_CONFIG, className="ring", id="stall-ring")] if ring["data"] else []
    key = (
        "One turn is one lap, clockwise, counted from where the train was when watching began. "
        'Remember "passes the station" at the moment it does, and places are counted from there.'
    )
    return [html.Ul(said, className="patterns"), *drawn, html.P(key, className="quiet") if drawn else html.Span()]


def _pattern(pattern: Pattern, marks: tuple[Action, ...]) -> Component:
    sentence, chance = html.Span(pattern_sentence(pattern, marks)), html.Span(chance_words(pattern.p_value), className="quiet")
    return html.Li([html.Strong(VERDICT[pattern.verdict]), sentence, chance])


def effects(picture: Picture) -> list[Component]:
    """For each remark of the operators: how often things happened before and since, and whether that may be chance."""
    if not picture.marks:
        return [html.P("Write down what you did, and this tells whether it happens less often since.", className="quiet")]
    return [html.Ul([_effect(mark, picture) for mark in picture.marks[:12]], className="effects")]


def _effect(mark: Action, picture: Picture) -> Component:
    where = mark.district or "all districts"
    head = html.Strong(f"{mark.text} ({where}), {seconds(max(0.0, picture.now_s - mark.at_s))} ago")
    change = rate_change(mark, picture)
    return html.Li([head, html.Span("Too early to tell." if change is None else _change_words(change))])


def rate_change(mark: Action, picture: Picture) -> RateChange | None:
    """Faults before and since a remark, in its district or in all; None while either span is too short to count over."""
    events = [e for e in picture.events if e.cause.is_fault and mark.district in (None, e.district)]
    oldest_s = min((e.start_s for e in picture.events), default=0.0)
    # The list holds the latest events only: when it is full, what came before its oldest is not known.
    before_s = mark.at_s - (oldest_s if len(picture.events) >= 200 else 0.0)
    after_s = picture.now_s - mark.at_s
    if before_s < LEAST_SPAN_S or after_s < LEAST_SPAN_S:
        return None
    before = sum(e.start_s < mark.at_s for e in events)
    return compare_rates(before, before_s, len(events) - before, after_s)


def _change_words(change: RateChange) -> str:
    counts = (
        f"{change.before} in {seconds(change.before_s)} before ({change.before_per_hour:.0f} an hour), "
        f"{change.after} in {seconds(change.after_s)} since ({change.after_per_hour:.0f} an hour)."
    )
    if change.p_value > 0.05:
        return f"{counts} That may be chance; watch on."
    rarer = change.after_per_hour < change.before_per_hour
    return f"{counts} {'Rarer' if rarer else 'More often'} than chance explains (p = {change.p_value:.2g})."


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
            html.Span(className="said", role="status", **hook(remembered="")),
        ],
        className="marking-done",
    )


def _panel(title: str, *children: Component) -> Component:
    return html.Section([html.H2(title), *children], className="panel")
