"""Acting: acknowledging, shelving, muting and marking, all at one address."""

from typing import Annotated

import msgspec
from flask import Blueprint, Response, request
from msgspec import Meta, Struct

from dashboard.access import Gate
from dashboard.requests import answer, read_request
from dashboard.watch import WatchLike
from monitor.values import Action, ActionKind


class ActionRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the page asks for.

    Attributes:
        minutes: For how long, when shelving or muting.
        district: Where, for a mark.
        text: The remark of a mark.
    """

    kind: ActionKind
    warning_id: Annotated[int, Meta(ge=0)] | None = None
    minutes: Annotated[float, Meta(gt=0, le=240)] | None = None
    district: Annotated[str, Meta(max_length=80)] | None = None
    text: Annotated[str, Meta(max_length=200)] = ""

    def check(self, districts: frozenset[str]) -> str | None:
        """What is missing; None where the body is complete."""
        if self.kind in ("shelve", "mute") and self.minutes is None:
            return "Say for how many minutes."
        if self.kind in ("acknowledge", "shelve", "unshelve") and self.warning_id is None:
            return "Say which warning."
        if self.kind == "mark" and not self.text.strip():
            return "Write what to remember."
        if self.district is not None and self.district not in districts:
            return "The layout has no such district."
        return None


def acting_routes(watch: WatchLike, gate: Gate) -> Blueprint:
    """The address /act."""
    routes = Blueprint("acting", __name__)

    @routes.post("/act")
    def act() -> Response:
        try:
            body = read_request(ActionRequest)
        except msgspec.MsgspecError as error:
            return answer(400, f"Not understood: {error}.")
        missing = body.check(frozenset(row.name for row in watch.layout.district))
        if missing is not None:
            return answer(400, missing)
        watch.operate(_action(body, watch.live.now_s(), gate.name_of(request)))
        return answer(200, "Done.")

    return routes


def _action(body: ActionRequest, now_s: float, by: str) -> Action:
    return Action(
        kind=body.kind,
        at_s=now_s,
        warning_id=body.warning_id,
        until_s=None if body.minutes is None else now_s + body.minutes * 60,
        district=body.district,
        text=body.text.strip(),
        by=by,
    )
