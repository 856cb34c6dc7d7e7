"""The addresses of the Stalls page: the list of what happened, and samples around an event as files."""

import msgspec
from flask import Blueprint, Response, abort, request

from dashboard.stall_source import StallSource, StallSources
from dashboard.views.stall_list import stall_list
from monitor.sessions.comtrade import Form, file_stem, moment_files, zipped

FORMS: dict[str, Form] = {"csv": "csv", "comtrade": "comtrade", "comtrade-ascii": "comtrade-ascii"}


def stall_routes(sources: StallSources) -> Blueprint:
    """/stalls/list, and /stalls/event-ID/csv, /comtrade and /comtrade-ascii; ``session`` names a recorded one."""
    routes = Blueprint("stall_routes", __name__)

    @routes.get("/stalls/list")
    def listed() -> Response:
        source = _asked(sources)
        picture = source.picture()
        return Response(
            msgspec.json.encode(stall_list(picture, source.clock, is_live=source.is_live)), mimetype="application/json"
        )

    @routes.get("/stalls/event-<int:event_id>/<form>")
    def give(event_id: int, form: str) -> Response:
        source = _asked(sources)
        event = next((event for event in source.picture().events if event.id == event_id), None)
        snapshot = None if event is None else source.snapshot(event)
        if snapshot is None or event is None or form not in FORMS:
            abort(404, "There are no samples of that event here any more; the session keeps them.")
        files = moment_files(snapshot, event, source.origin(), FORMS[form])
        if form == "csv":
            ((name, data),) = files.items()
            return _file(name, data, "text/csv; charset=utf-8")
        return _file(f"{file_stem(event)}_{form}.zip", zipped(files), "application/zip")

    return routes


def _asked(sources: StallSources) -> StallSource:
    source = sources.find(request.args.get("session", ""))
    if source is None:
        abort(404, "There is no such session.")
    return source


def _file(name: str, data: bytes, kind: str) -> Response:
    return Response(data, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})
