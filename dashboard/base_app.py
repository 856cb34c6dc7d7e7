"""A Dash app before it has pages: what every app of ours has in common."""

import html
from pathlib import Path

import dash
from flask import Response, request

from dashboard.access import Gate
from dashboard.error_handlers import register_error_handlers
from dashboard.requests import answer
from dashboard.views.shell import INDEX

INSIST_FOR_S = 86_400
"""Browsers that came by a certificate somebody vouches for come back encrypted for a day. Not longer: the same computer may serve
something else without encryption, and they would refuse that too (RFC 6797, section 8.3: a name counts with all its ports)."""


class EscapedDash(dash.Dash):
    """Dash puts the title of an app into its pages as it is: this is the place where that text becomes HTML."""

    def interpolate_index(self, metas: str = "", title: str = "", **parts: str) -> str:  # type: ignore[override] # Dash names eight, two matter
        """The page's frame with its parts put in; the title is text, whatever stands in it."""
        return str(super().interpolate_index(metas=metas, title=html.escape(title), **parts))


def base_app(title: str) -> dash.Dash:
    """An app without pages, that takes everything it needs from this machine.

    Args:
        title: For the browser's tab.
    """
    app = EscapedDash(
        __name__,
        title=title,
        assets_folder=str(Path(__file__).parent / "assets"),
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
    register_error_handlers(app)
    return app


def guard(app: dash.Dash, gate: Gate, *, insist_on_encryption: bool = False) -> None:
    """Ask the gate before every answer, and send each with a policy that keeps everything at home.

    Args:
        app: What answers.
        gate: Who may look and act.
        insist_on_encryption: Whether browsers are told to come by encryption only.
    """

    @app.server.before_request
    def look() -> Response | None:
        refusal = gate.refusal(request)
        if refusal is None:
            return None
        # The pages' scripts show what is said to a POST.
        said = Response(f"{refusal}\n", status=403, mimetype="text/plain")
        return answer(403, refusal) if request.method == "POST" else said

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
