"""What the review page takes from a session: its marks, stretches of it, the report, the table, the packed file.

A session is named by an id that is looked up in the listing: nothing that comes from outside is ever made into a path.
"""

import datetime as dt
import math
import re
import tempfile
from collections.abc import Iterator
from pathlib import Path

import msgspec
from flask import Blueprint, Response, abort, request

from dashboard.session_cache import Listed, OpenSession, SessionCache
from dashboard.trace_routes import stretch
from dashboard.views.markup import markup
from dashboard.views.review import sheet
from dashboard.views.review_notices import time_line_marks
from monitor.errors import MonitorError
from monitor.planning.outstanding import outstanding
from monitor.sessions import SessionFolder
from monitor.sessions.csv_export import csv_pieces
from monitor.sessions.pack import pack
from monitor.sessions.report import report

PIECE_BYTES = 1 << 18
REPORT_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'; form-action 'none'; base-uri 'none'"
)
"""A report runs nothing and fetches nothing."""
NO_SUCH = "There is no such session: choose one from the list."


def review_routes(shelf: SessionCache) -> Blueprint:
    """The addresses /review/sheet, /marks, /stretch, /report, /table.csv and /pack, each with ``?session=ID``."""
    routes = Blueprint("review_files", __name__)
    _add_time_line(routes, shelf)
    _add_files(routes, shelf)
    return routes


def _add_time_line(routes: Blueprint, shelf: SessionCache) -> None:
    @routes.get("/review/sheet")
    def told() -> Response:
        asked = [request.args.get(name, "") for name in ("session", "beside")]
        sessions = [_open(shelf, each) for each in asked if each]
        if not sessions:
            abort(404, NO_SUCH)
        return Response(markup(sheet(sessions)), mimetype="text/html", headers={"Cache-Control": "no-store"})

    @routes.get("/review/marks")
    def marks() -> Response:
        return Response(msgspec.json.encode(time_line_marks(_open(shelf))), mimetype="application/json")

    @routes.get("/review/stretch")
    def part() -> Response:
        wish = [request.args.get(name, type=float) for name in ("from", "to", "points")]
        if any(value is None or not math.isfinite(value) for value in wish):
            abort(400, "Say from, to and points as numbers.")
        from_s, to_s, points = (value or 0.0 for value in wish)
        data = stretch(_open(shelf), from_s, to_s, int(min(max(points, 0), 1e6)))
        return Response(data, mimetype="application/octet-stream", headers={"Cache-Control": "no-store"})


def _add_files(routes: Blueprint, shelf: SessionCache) -> None:
    @routes.get("/review/report")
    def page() -> Response:
        session = _listed(shelf).session
        try:
            layout = session.layout()
            text = report(session, outstanding(layout, today=dt.datetime.now().astimezone().date()), layout)
        except (MonitorError, OSError) as error:
            abort(409, f"There can be no report of it: {error}.")
        return Response(text, mimetype="text/html", headers={"Content-Security-Policy": REPORT_POLICY})

    @routes.get("/review/table.csv")
    def table() -> Response:
        listed = _listed(shelf)
        try:
            pieces = csv_pieces(listed.session)
        except MonitorError as error:
            abort(409, f"There can be no table of it: {error}.")
        return Response(pieces, content_type="text/csv; charset=utf-8", headers=_named(listed, ".csv"))

    @routes.get("/review/pack")
    def packed() -> Response:
        listed = _listed(shelf)
        pieces = _packed(listed.session)
        try:
            next(pieces)
        except MonitorError as error:
            abort(409, f"It cannot be packed: {error}.")
        return Response(pieces, mimetype="application/zip", headers=_named(listed, ".session.zip"))


def _packed(session: SessionFolder) -> Iterator[bytes]:
    """First nothing, once it is packed; then the file, which is gone when the last of it is sent or nobody wants more."""
    with tempfile.TemporaryDirectory() as folder:
        path = pack(session, Path(folder) / "session.zip")
        yield b""
        with path.open("rb") as file:
            while piece := file.read(PIECE_BYTES):
                yield piece


def _listed(shelf: SessionCache, asked: str | None = None) -> Listed:
    found = shelf.find(request.args.get("session", "") if asked is None else asked)
    if found is None:
        abort(404, NO_SUCH)
    return found


def _open(shelf: SessionCache, asked: str | None = None) -> OpenSession:
    listed = _listed(shelf, asked)
    try:
        return shelf.open(listed)
    except (MonitorError, OSError) as error:
        abort(409, f"This session cannot be opened: {error}.")


def _named(listed: Listed, suffix: str) -> dict[str, str]:
    """Under which name a browser keeps it: nothing in it that a header or a disk could take otherwise."""
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", listed.id).strip("-.") or "session"
    return {"Content-Disposition": f'attachment; filename="{name}{suffix}"'}
