"""The Dash app of a hall, and its server: nothing can be done from it but look."""

from functools import partial

import dash
import msgspec
from dash.development.base_component import Component
from flask import Blueprint, Response

from dashboard.access import Gate
from dashboard.base_app import base_app, guard
from dashboard.feed import json_answer
from dashboard.hall.feed import Hall, HallFeed, hall_routes
from dashboard.hall.views import hall_page, station_page
from dashboard.server import DEFAULT_HOST, DEFAULT_PORT, PageOptions, Server
from dashboard.views.shell import shell
from monitor.bus.hall_listener import HallPicture

Json = dict[str, object]


def hall_health_routes(hall: Hall) -> Blueprint:
    """The address /healthz."""
    routes = Blueprint("hall_health", __name__)

    @routes.get("/healthz")
    def healthz() -> Response:
        picture = hall.look()
        return json_answer(msgspec.json.encode(hall_health(picture)), 200 if picture.connected else 503)

    return routes


def hall_health(picture: HallPicture) -> Json:
    """What to say of how everything stands.

    A station that is silent or in trouble is reported, but it is not this program's fault: what restarts it would not mend that.
    """
    return {
        "status": "well" if picture.connected else "in trouble",
        "broker": {"connected": picture.connected, "sentence": picture.sentence},
        "stations": [
            {
                "hall": station.hall,
                "name": station.name,
                "state": station.state,
                "trouble": station.trouble,
                "heard_s_ago": None if station.heard_s_ago is None else round(station.heard_s_ago, 2),
                "age_s": None if station.age_s is None else round(station.age_s, 2),
            }
            for station in picture.stations
        ],
        "faults": picture.faults,
    }


def create_hall_app(hall: Hall, title: str, gate: Gate | None = None, insist_on_encryption: bool = False) -> dash.Dash:  # noqa: FBT001, FBT002 - the server's own form
    """The app: the hall, its stations, its feed. Only this machine looks without a gate."""
    app = base_app(f"{title} – pilotlamp")
    app.server.register_blueprint(hall_routes(HallFeed(hall)))
    app.server.register_blueprint(hall_health_routes(hall))

    def station_layout(**_query: str) -> Component:
        return station_page(next(iter(hall.look(_query.get("hall", ""), _query.get("station", "")).stations), None))

    def hall_layout(**_query: str) -> Component:
        return hall_page()

    dash.register_page("hall", path="/", name="Hall", title=f"{title} – hall", order=0, layout=hall_layout)
    dash.register_page("station", path="/station", name="Station", title=f"{title} – station", order=1, layout=station_layout)
    app.layout = lambda: shell(title, [], looks_on=True)
    guard(app, gate or Gate(), insist_on_encryption=insist_on_encryption)
    return app


def hall_server(
    hall: Hall, title: str, host: str = DEFAULT_HOST, port: int = DEFAULT_PORT, options: PageOptions | None = None
) -> Server:
    """Serves the pages of a hall; arguments as for :class:`Server`."""
    return Server(partial(create_hall_app, hall, title), host, port, options)
