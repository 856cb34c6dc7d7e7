"""The district page: one district's wave, figures and last minutes."""

import dash
from dash.development.base_component import Component

from dashboard.views.district_page import district_page, no_such_district
from dashboard.watch import WatchLike


def register(app: dash.Dash, watch: WatchLike) -> None:
    """Register the page."""
    del app

    def layout(name: str = "", **_query: str) -> Component:
        row = next((d for d in watch.layout.district if d.name == name), None)
        return no_such_district(watch.layout, name) if row is None else district_page(watch.layout, row)

    dash.register_page("district", path="/district", name="District", title="District", layout=layout, in_menu=False)
