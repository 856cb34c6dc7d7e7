"""Samples around an event as files: COMTRADE in its two parts, and CSV."""

from datetime import UTC, datetime, timedelta

from flask import Blueprint, Response, abort

from dashboard.watch import Watch
from monitor.sessions.comtrade import comtrade, snapshot_csv

TYPES = {"csv": "text/csv; charset=utf-8", "cfg": "text/plain; charset=utf-8", "dat": "application/octet-stream"}


def stall_files(watch: Watch) -> Blueprint:
    """The addresses /stalls/event-ID.csv, .cfg and .dat."""
    routes = Blueprint("stall_files", __name__)

    @routes.get("/stalls/event-<int:event_id>.<kind>")
    def give(event_id: int, kind: str) -> Response:
        snapshot = watch.live.snapshot(event_id)
        event = next((event for event in watch.live.picture().events if event.id == event_id), None)
        if snapshot is None or event is None or kind not in TYPES:
            abort(404, "There are no samples of that event here any more; the session keeps them.")
        if kind == "csv":
            return Response(snapshot_csv(snapshot, event), content_type=TYPES[kind])
        began_at = datetime.now(UTC) - timedelta(seconds=watch.live.now_s())
        layout = watch.layout
        record = comtrade(snapshot, event, station=layout.title, mains_hertz=layout.mains.hertz, began_at=began_at)
        return Response(record.cfg if kind == "cfg" else record.dat, content_type=TYPES[kind])

    return routes
