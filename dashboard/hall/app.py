"""The Dash app of a hall: nothing can be done from it but look."""

import dash
from dash.development.base_component import Component

from dashboard.access import Gate
from dashboard.blank import blank_app, guard
from dashboard.hall.feed import Hall, HallFeed, hall_routes
from dashboard.hall.views import hall_page, station_page
from dashboard.views.shell import shell


def create_hall_app(hall: Hall, title: str, gate: Gate | None = None) -> dash.Dash:
    """The app: the hall, its stations, its feed.

    Args:
        hall: What to look at.
        title: What the hall is called.
        gate: Who may look; this machine only when None.
    """
    app = blank_app(f"{title} – pilotlamp")
    feed = HallFeed(hall)
    app.server.register_blueprint(hall_routes(feed))

    def station_layout(**_query: str) -> Component:
        return station_page(next(iter(hall.look(_query.get("hall", ""), _query.get("station", "")).stations), None))

    def hall_layout(**_query: str) -> Component:
        return hall_page()

    dash.register_page("hall", path="/", name="Hall", title=f"{title} – hall", order=0, layout=hall_layout)
    dash.register_page("station", path="/station", name="Station", title=f"{title} – station", order=1, layout=station_layout)
    app.layout = lambda: shell(title, [], looks_on=True)
    guard(app, gate or Gate())
    return app
