"""Samples around an event as files: COMTRADE, its two files in one ZIP, and CSV."""

from datetime import UTC, datetime, timedelta

from flask import Blueprint, Response, abort

from dashboard.watch import Watch
from monitor.sessions.comtrade import Origin
from monitor.sessions.moment_files import Form, file_stem, moment_files, zipped

FORMS: dict[str, Form] = {"csv": "csv", "comtrade": "comtrade", "comtrade-ascii": "comtrade-ascii"}


def stall_files(watch: Watch) -> Blueprint:
    """The addresses /stalls/event-ID/csv, /comtrade and /comtrade-ascii."""
    routes = Blueprint("stall_files", __name__)

    @routes.get("/stalls/event-<int:event_id>/<form>")
    def give(event_id: int, form: str) -> Response:
        snapshot = watch.live.snapshot(event_id)
        event = next((event for event in watch.live.picture().events if event.id == event_id), None)
        if snapshot is None or event is None or form not in FORMS:
            abort(404, "There are no samples of that event here any more; the session keeps them.")
        layout = watch.layout
        origin = Origin(station=layout.title, mains_hertz=layout.mains.hertz, began_at=_began_at(watch))
        files = moment_files(snapshot, event, origin, FORMS[form])
        if form == "csv":
            ((name, data),) = files.items()
            return _file(name, data, "text/csv; charset=utf-8")
        return _file(f"{file_stem(event)}_{form}.zip", zipped(files), "application/zip")

    return routes


def _began_at(watch: Watch) -> datetime:
    return watch.live.began_at or datetime.now(UTC) - timedelta(seconds=watch.live.now_s())


def _file(name: str, data: bytes, kind: str) -> Response:
    return Response(data, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})
