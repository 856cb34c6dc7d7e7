"""The Help page: what the panels show, the words, the cautions; it needs nothing from elsewhere."""

import dash

from dashboard.views.help_words import help_page
from dashboard.watch import WatchLike


def register(app: dash.Dash, watch: WatchLike) -> None:
    """Register the page."""
    del app, watch
    title = "Help: words and cautions"
    dash.register_page("help", path="/help", name="Help", title=title, order=9, layout=help_page, in_menu=True)
