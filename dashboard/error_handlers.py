"""What an answer failed on: told to the log, never to whoever asked."""

import logging
from collections import Counter

import dash
from flask import Response, request
from werkzeug.exceptions import HTTPException

KINDS_LIMIT = 100
"""So many kinds of failure are counted apart; beyond them, no more are told."""
_DASH_ROOM = "/_dash"
_log = logging.getLogger(__name__)


def register_error_handlers(app: dash.Dash) -> None:
    """Answer with one plain line where something raises.

    Requests to Dash's own addresses fail on what a page of ours never sends (an unknown output, a text for a number): those are the
    asker's mistakes, and a fault of ours among them is in the log all the same.
    """
    seen: Counter[str] = Counter()

    @app.server.errorhandler(Exception)
    def answer(error: Exception) -> Response | HTTPException:
        if isinstance(error, HTTPException):
            return error
        _tell(error, seen)
        if not request.path.startswith(_DASH_ROOM):
            return _plain(500, "This failed; the log of pilotlamp says on what.")
        return _plain(404, "There is nothing here.") if request.method in ("GET", "HEAD") else _plain(400, "Not understood.")


def _tell(error: Exception, seen: Counter[str]) -> None:
    """The first, second, fourth, eighth... of a kind: whoever asks for it a thousand times must not fill the log."""
    kind = f"{type(error).__name__} at {request.endpoint}"
    if kind not in seen and len(seen) >= KINDS_LIMIT:
        return
    seen[kind] += 1
    if seen[kind] & (seen[kind] - 1) == 0:
        _log.error("an answer to %r failed (%d times so far)", request.path[:200], seen[kind], exc_info=error)


def _plain(status: int, sentence: str) -> Response:
    return Response(f"{sentence}\n", status=status, mimetype="text/plain")
