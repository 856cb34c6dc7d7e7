"""The Stalls page: why did it stall?"""

import contextlib
from collections.abc import Iterator

import dash
from dash import Input, Output, State, html
from dash.development.base_component import Component

from dashboard.session_cache import SessionCache
from dashboard.stall_source import StallSource, StallSources, stall_routes
from dashboard.views.stall_effects import against_earlier, effects
from dashboard.views.stall_list import opened_event
from dashboard.views.stall_words import board_sentences
from dashboard.views.stalls import NOW, moment, no_such_session, places, slow_lines, stalls_page
from dashboard.watch import WatchLike
from dashboard.worker_pool import BusyError, WorkerPool
from monitor.runtime.picture import Picture
from monitor.runtime.replay import Replay
from monitor.values import Event, Snapshot

LONGEST_NUMBER = 12


def register(app: dash.Dash, watch: WatchLike) -> None:
    """Register the page, its addresses and the callbacks that keep it up to date."""
    sources = StallSources(watch, SessionCache(watch.recordings), app.server.extensions[WorkerPool.__name__])

    def layout(event: str = "", session: str = "", **_query: str) -> Component:
        chosen = int(event) if event.isdecimal() and len(event) < LONGEST_NUMBER else None
        try:
            source = sources.find(session)
        except BusyError as error:
            return html.Main(html.P(str(error), role="alert"), className="page")
        return (
            no_such_session(session)
            if source is None
            else stalls_page(source.layout, sources.names(), session, chosen, "this replay" if isinstance(watch, Replay) else NOW)
        )

    app.server.register_blueprint(stall_routes(sources))
    dash.register_page("stalls", path="/stalls", name="Stalls", title="Why did it stall?", order=3, layout=layout, in_menu=True)
    _keep_words(app, sources)
    _keep_moment(app, sources)


def _keep_words(app: dash.Dash, sources: StallSources) -> None:
    @app.callback(
        Output("stall-places", "children"),
        Output("stall-drawn", "data"),
        Input("stall-tick", "n_intervals"),
        Input("stall-news", "data"),
        State("stall-session", "data"),
        State("stall-drawn", "data"),
    )
    def renew_places(_ticks: int, _news: int, session: str, drawn: str | None) -> tuple[object, object]:
        """The ring is redrawn only where something of it changed."""
        with _at_the_next_tick():
            picture = _source(sources, session).picture()
        state = _state_of_places(picture)
        return (dash.no_update, dash.no_update) if state == drawn else (places(picture), state)

    @app.callback(
        Output("stall-effects", "children"),
        Output("stall-earlier", "children"),
        Output("stall-slow", "children"),
        Input("stall-tick", "n_intervals"),
        Input("stall-news", "data"),
        State("stall-session", "data"),
    )
    def renew_words(_ticks: int, _news: int, session: str) -> tuple[list[Component], list[Component], list[Component]]:
        with _at_the_next_tick():
            source = _source(sources, session)
            picture, earlier = source.picture(), sources.earlier(source)
        run = source.run(picture)
        return effects(run, earlier), against_earlier(run, earlier), slow_lines(picture)


def _keep_moment(app: dash.Dash, sources: StallSources) -> None:
    @app.callback(
        Output("stall-moment", "children"),
        Output("stall-shown", "data"),
        Input("stall-tick", "n_intervals"),
        Input("stall-news", "data"),
        Input("stall-chosen", "data"),
        State("stall-session", "data"),
        State("stall-shown", "data"),
    )
    def renew_moment(_ticks: int, _news: int, chosen: int | None, session: str, shown: str | None) -> tuple[object, object]:
        """Redrawn only when it is another event, or something of it changed."""
        with _at_the_next_tick():
            source = _source(sources, session)
            picture = source.picture()
            event = opened_event(picture, chosen)
            snapshot = None if event is None else sources.snapshot(source, event)
        state = _state_of(event, snapshot)
        if state == shown:
            return dash.no_update, dash.no_update
        at = None if event is None else source.clock(event.start_s)
        with _at_the_next_tick():
            return sources.run(moment, event, snapshot, picture, at, session, source.layout), state


@contextlib.contextmanager
def _at_the_next_tick() -> Iterator[None]:
    """Where no worker has time, what is shown stays until it is asked for again."""
    try:
        yield
    except BusyError as error:
        raise dash.exceptions.PreventUpdate from error


def _source(sources: StallSources, session: str) -> StallSource:
    source = sources.find(session)
    if source is None:
        raise dash.exceptions.PreventUpdate
    return source


def _state_of(event: Event | None, snapshot: Snapshot | None) -> str:
    return "none" if event is None else f"{event.id} {event.end_s} {event.cause.value} {event.confidence} {snapshot is not None}"


def _state_of_places(picture: Picture) -> str:
    # The dots of a ring are the events of its districts.
    dots = sum(any(event.district in pattern.districts for pattern in picture.patterns) for event in picture.events)
    return f"{picture.patterns} {dots} {board_sentences(picture.boards)}"
