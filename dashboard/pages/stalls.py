"""The Stalls page: why did it stall?"""

import dash
from dash import Input, Output, State
from dash.development.base_component import Component

from dashboard.stall_files import stall_files
from dashboard.views.stalls import chosen_event, effects, moment, occurrences, places, slow_lines, stalls_page
from dashboard.watch import Watch
from monitor.values import Event


def register(app: dash.Dash, watch: Watch) -> None:
    """Register the page and the callbacks that keep it up to date."""

    def layout(event: str = "", **_query: str) -> Component:
        picture = watch.live.picture()
        chosen = int(event) if event.isdecimal() and len(event) < 12 else None
        opened = chosen_event(picture, chosen)
        return stalls_page(watch.layout, picture, None if opened is None else watch.live.snapshot(opened.id), chosen)

    app.server.register_blueprint(stall_files(watch))
    dash.register_page("stalls", path="/stalls", name="Stalls", title="Why did it stall?", order=3, layout=layout, in_menu=True)

    @app.callback(
        Output("stall-list", "children"),
        Output("stall-places", "children"),
        Output("stall-effects", "children"),
        Output("stall-slow", "children"),
        Input("stall-tick", "n_intervals"),
        State("stall-chosen", "data"),
    )
    def renew(_ticks: int, chosen: int | None) -> tuple[Component, list[Component], list[Component], list[Component]]:
        picture = watch.live.picture()
        return occurrences(picture, chosen_event(picture, chosen)), places(picture), effects(picture), slow_lines(picture)

    @app.callback(
        Output("stall-moment", "children"),
        Output("stall-shown", "data"),
        Input("stall-tick", "n_intervals"),
        State("stall-chosen", "data"),
        State("stall-shown", "data"),
    )
    def renew_moment(_ticks: int, chosen: int | None, shown: str | None) -> tuple[object, object]:
        """Drawn anew only when it is another event, or something of it changed."""
        picture = watch.live.picture()
        event = chosen_event(picture, chosen)
        state = _state_of(event)
        if state == shown:
            return dash.no_update, dash.no_update
        return moment(event, None if event is None else watch.live.snapshot(event.id), picture.now_s), state


def _state_of(event: Event | None) -> str:
    return "" if event is None else f"{event.id} {event.end_s} {event.cause.value} {event.confidence}"
