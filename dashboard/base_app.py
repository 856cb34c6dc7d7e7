"""A Dash app before it has pages: what every app of ours has in common."""

import html
import logging
import traceback
from collections import Counter
from pathlib import Path

import dash
from flask import Response, request
from werkzeug.exceptions import HTTPException

from dashboard.access import Gate
from dashboard.requests import answer
from dashboard.views.shell import INDEX, no_such_page

INSIST_FOR_S = 86_400
"""Browsers that came by a certificate somebody vouches for come back encrypted for a day. Not longer: the same computer may serve
something else without encryption, and they would refuse that too (RFC 6797, section 8.3: a name counts with all its ports)."""


class EscapedDash(dash.Dash):
    """Dash puts the title of an app into its pages as it is: this is the place where that text becomes HTML."""

    def interpolate_index(self, metas: str = "", title: str = "", **parts: str) -> str:  # type: ignore[override] # Dash names eight, two matter
        """The page's frame with its parts put in; the title is text, whatever stands in it."""
        return str(super().interpolate_index(metas=metas, title=html.escape(title), **parts))


def base_app(title: str) -> dash.Dash:
    """An app without pages, that takes everything it needs from this machine."""
    app = EscapedDash(
        __name__,
        title=title,
        assets_folder=str(Path(__file__).parent / "assets"),
        assets_path_ignore=["^page$"],
        use_pages=True,
        pages_folder="",
        serve_locally=True,
        compress=True,
        suppress_callback_exceptions=True,
        update_title="",
    )
    app.index_string = INDEX
    app.server.config["COMPRESS_MIMETYPES"] = ["text/html", "text/css", "application/json", "text/javascript"]
    dash.page_registry.clear()
    dash.register_page("not_found_404", title="No such page", layout=no_such_page, in_menu=False)
    register_error_handlers(app)
    return app


def guard(app: dash.Dash, gate: Gate, *, insist_on_encryption: bool = False) -> None:
    """Ask the gate before every answer, and send each with a policy that keeps everything at home."""

    @app.server.before_request
    def look() -> Response | None:
        refusal = gate.refusal(request)
        if refusal is None:
            return None
        # The pages' scripts show the answer to a POST.
        plain = Response(f"{refusal}\n", status=403, mimetype="text/plain")
        return answer(403, refusal) if request.method == "POST" else plain

    @app.server.after_request
    def protect(response: Response) -> Response:
        response.headers.setdefault("X-Content-Type-Options", "nosniff")
        response.headers.setdefault("X-Frame-Options", "DENY")
        response.headers.setdefault("Referrer-Policy", "no-referrer")
        response.headers.setdefault("Cross-Origin-Opener-Policy", "same-origin")
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        response.headers.setdefault("Permissions-Policy", "camera=(), microphone=(), geolocation=(), serial=(), usb=()")
        if insist_on_encryption:
            response.headers.setdefault("Strict-Transport-Security", f"max-age={INSIST_FOR_S}")
        # Only now has Dash put its own inline scripts together.
        own_inline = " ".join(app.csp_hashes()) if response.mimetype == "text/html" else ""
        response.headers.setdefault(
            "Content-Security-Policy",
            f"default-src 'self'; script-src 'self' {own_inline}; style-src 'self' 'unsafe-inline'; "
            "img-src 'self' data: blob:; object-src 'none'; frame-ancestors 'none'; form-action 'none'; base-uri 'self'",
        )
        return response


KINDS_LIMIT = 100
"""So many kinds of failure are counted apart; beyond them, no more are counted."""
STACK_LINES, LINE_CHARACTERS = 60, 400
"""Of a stack in the log, its end: what a visitor sent, however long, stands in the message of some failures."""
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
        _log_failure(error, seen)
        if not request.path.startswith(_DASH_ROOM):
            return _plain(500, "This failed; the log of pilotlamp says on what.")
        return _plain(404, "There is nothing here.") if request.method in ("GET", "HEAD") else _plain(400, "Not understood.")


def _log_failure(error: Exception, seen: Counter[str]) -> None:
    """The first, second, fourth, eighth... of a kind: a thousand requests for it must not fill the log."""
    kind = f"{type(error).__name__} at {request.endpoint}"
    if kind not in seen and len(seen) >= KINDS_LIMIT:
        return
    seen[kind] += 1
    if seen[kind] & (seen[kind] - 1) == 0:
        stack = "".join(traceback.format_exception(error)).splitlines()[-STACK_LINES:]
        lines = "\n".join(line[:LINE_CHARACTERS] for line in stack)
        _log.error("an answer to %r failed (%d times so far)\n%s", request.path[:200], seen[kind], lines)


def _plain(status: int, sentence: str) -> Response:
    return Response(f"{sentence}\n", status=status, mimetype="text/plain")
