"""What the review page takes from a session: its marks, stretches of it, the report, the table, the packed file.

A session is named by an id that is looked up in the listing: nothing that comes from outside is ever made into a path. The work is
done by worker processes.
"""

import math
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeVar

from flask import Blueprint, Response, abort, request

from dashboard import session_jobs
from dashboard.session_cache import Listed, SessionCache
from dashboard.worker_pool import BusyError, WorkerPool, asker_of
from monitor.errors import MonitorError

PIECE_BYTES = 1 << 18
REPORT_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'; form-action 'none'; base-uri 'none'"
)
"""A report runs nothing and fetches nothing."""
NO_SUCH = "There is no such session: choose one from the list."
NEVER_KEPT = {"Cache-Control": "no-store"}
T = TypeVar("T")


class ReviewFiles:
    """Answers what is asked of recorded sessions."""

    def __init__(self, cache: SessionCache, pool: WorkerPool) -> None:
        self._cache, self._pool = cache, pool

    def routes(self) -> Blueprint:
        """The addresses /review/sheet, /marks, /stretch, /report, /table.csv and /pack, each with ``?session=ID``."""
        routes = Blueprint("review_files", __name__)
        for name, answer in (
            ("sheet", self._sheet),
            ("marks", self._marks),
            ("stretch", self._stretch),
            ("report", self._report),
            ("table.csv", self._table),
            ("pack", self._pack),
        ):
            routes.add_url_rule(f"/review/{name}", endpoint=name.partition(".")[0], view_func=answer)
        return routes

    def _sheet(self) -> Response:
        asked = [request.args.get(name, "") for name in ("session", "beside")]
        found = tuple(self._listed(each).id for each in asked if each)
        if not found:
            abort(404, NO_SUCH)
        return Response(self._done("opened", session_jobs.sheet_html, found), mimetype="text/html", headers=NEVER_KEPT)

    def _marks(self) -> Response:
        return Response(self._done("opened", session_jobs.marks_json, self._listed().id), mimetype="application/json")

    def _stretch(self) -> Response:
        asked = [request.args.get(name, type=float) for name in ("from", "to", "points")]
        if any(value is None or not math.isfinite(value) for value in asked):
            abort(400, "Say from, to and points as numbers.")
        from_s, to_s, points = (value or 0.0 for value in asked)
        room = int(min(max(points, 0), 1e6))
        data = self._done("opened", session_jobs.trace_bytes, self._listed().id, from_s, to_s, room)
        return Response(data, mimetype="application/octet-stream", headers=NEVER_KEPT)

    def _report(self) -> Response:
        text = self._done("reported on", session_jobs.report_html, self._listed().id)
        return Response(text, mimetype="text/html", headers={"Content-Security-Policy": REPORT_POLICY})

    def _table(self) -> Response:
        listed = self._listed()
        path = self._done("made into a table", session_jobs.table_file, listed.id)
        return Response(_sent(path), content_type="text/csv; charset=utf-8", headers=_named(listed, ".csv"))

    def _pack(self) -> Response:
        listed = self._listed()
        path = self._done("packed", session_jobs.packed_file, listed.id)
        return Response(_sent(path), mimetype="application/zip", headers=_named(listed, ".session.zip"))

    def _listed(self, asked: str | None = None) -> Listed:
        found = self._cache.find(request.args.get("session", "") if asked is None else asked)
        if found is None:
            abort(404, NO_SUCH)
        return found

    def _done(self, what: str, job: Callable[..., T], *args: Any) -> T:  # noqa: ANN401 - as the job takes them
        try:
            return self._pool.run(asker_of(request), job, self._cache.recordings, *args)
        except BusyError as error:
            abort(503, str(error))
        except (MonitorError, OSError) as error:
            abort(409, f"It cannot be {what}: {error}.")


def _sent(path: Path) -> Iterator[bytes]:
    """The file piece by piece; it is gone when the last of it is sent or no more is wanted."""
    try:
        with path.open("rb") as file:
            while piece := file.read(PIECE_BYTES):
                yield piece
    finally:
        shutil.rmtree(path.parent, ignore_errors=True)


def _named(listed: Listed, suffix: str) -> dict[str, str]:
    """Under which name a browser keeps it: nothing in it that a header or a disk could take otherwise."""
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", listed.id).strip("-.") or "session"
    return {"Content-Disposition": f'attachment; filename="{name}{suffix}"'}
