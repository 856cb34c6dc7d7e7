"""The live page: every district at once."""

import dash
from dash.development.base_component import Component

from dashboard.views.live_page import live_page
from dashboard.watch import Watch


def register(app: dash.Dash, watch: Watch) -> None:
    """Register the page at the root."""
    del app

    def layout(**_query: str) -> Component:
        return live_page(watch.layout)

    dash.register_page("live", path="/", name="Live", title=f"{watch.layout.title} – live", order=0, layout=layout, in_menu=True)
