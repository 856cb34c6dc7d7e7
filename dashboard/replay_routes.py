"""Moving a replay from the page: where it is, and pause, step, next event, speed, another moment."""

from typing import Annotated, Literal

import msgspec
from flask import Blueprint, Response
from msgspec import Meta, Struct

from dashboard.requests import answer, answer_with, read_request
from dashboard.views.replay_bar import verdict_lines
from monitor.runtime.replay import SPEED_LIMIT, Replay

BODY_LIMIT_BYTES = 1024


class ReplayRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the page asks for.

    Attributes:
        speed: Seconds of the session a second, for "speed".
        at_s: Seconds from the session's beginning, for "seek".
    """

    do: Literal["pause", "play", "step", "next", "speed", "seek"]
    speed: Annotated[float, Meta(ge=1, le=SPEED_LIMIT)] = 1.0
    at_s: Annotated[float, Meta(ge=0, le=1e7)] = 0.0


def replay_routes(replay: Replay) -> Blueprint:
    """The address /replay: GET says where it is, POST moves it."""
    routes = Blueprint("replay", __name__)

    @routes.get("/replay")
    def where() -> Response:
        return answer_with(200, _state(replay))

    @routes.post("/replay")
    def move() -> Response:
        try:
            body = read_request(ReplayRequest, BODY_LIMIT_BYTES)
        except msgspec.MsgspecError as error:
            return answer(400, f"Not understood: {error}.")
        _act_on(replay, body)
        return answer_with(200, _state(replay))

    return routes


def _act_on(replay: Replay, body: ReplayRequest) -> None:
    first_s = replay.status().first_s
    does = {
        "pause": replay.pause,
        "play": replay.resume,
        "step": replay.step,
        "next": replay.next_event,
        "speed": lambda: replay.set_speed(body.speed),
        "seek": lambda: replay.seek(first_s + body.at_s),
    }
    does[body.do]()


def _state(replay: Replay) -> dict[str, object]:
    status = replay.status()
    return {
        "state": status.state,
        "at_s": round(status.at_s - status.first_s, 2),
        "length_s": None if status.last_s is None else round(status.last_s - status.first_s, 2),
        "speed": status.speed,
        "verdicts": verdict_lines(replay),
    }
