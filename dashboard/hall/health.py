"""Health of a hall's page for other programs: is the broker heard, and how is each station?"""

import msgspec
from flask import Blueprint, Response

from dashboard.feed import json_answer
from dashboard.hall.feed import Hall
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

    A station that is silent or in trouble is told, but it is not this program's fault: what starts it anew would not mend that.
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
