"""The Help page: what the panels show, the words, the cautions; it needs nothing from elsewhere."""

import dash
from dash.development.base_component import Component

from dashboard.views.help_words import help_page
from dashboard.watch import WatchLike


def register(app: dash.Dash, watch: WatchLike) -> None:
    """Register the page."""
    del app, watch

    def layout(**_query: str) -> Component:
        return help_page()

    dash.register_page("help", path="/help", name="Help", title="Help: words and cautions", order=9, layout=layout, in_menu=True)
