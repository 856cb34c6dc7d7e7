"""The district page: one district's wave, figures and last minutes."""

import dash
from dash import Input, Output
from dash.development.base_component import Component

from dashboard.views.district_page import district_page, no_such_district
from dashboard.views.history import history_figure
from dashboard.watch import WatchLike
from monitor.runtime.trend import BUCKETS


def register(app: dash.Dash, watch: WatchLike) -> None:
    """Register the page and the callback that draws its history."""

    def layout(name: str = "", **_query: str) -> Component:
        row = next((d for d in watch.layout.district if d.name == name), None)
        return no_such_district(watch.layout, name) if row is None else district_page(watch.layout, row)

    dash.register_page("district", path="/district", name="District", title="District", layout=layout, in_menu=False)

    @app.callback(Output("history", "figure"), Input("history-tick", "n_intervals"), Input("history-name", "data"))
    def draw(_ticks: int, name: str) -> dict[str, object]:
        window = watch.live.trend(BUCKETS, district=name) if any(d.name == name for d in watch.layout.district) else None
        return history_figure(window, watch.live.now_s())
