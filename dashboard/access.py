"""The gate: who may look and who may act. Everything that changes something asks here and nowhere else."""

import ipaddress
from urllib.parse import urlsplit

from flask import Request

LOCAL_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
ACTING_HEADER = "X-Pilotlamp"
"""A page of another site cannot send it without asking first, and nobody answers that question here."""


class Gate:
    """Lets this machine look and act, and nobody else.

    Args:
        names: Host names under which the page may be asked for: another name means that somebody's page was made to point here.
    """

    def __init__(self, names: frozenset[str] = LOCAL_NAMES) -> None:
        self._names = names

    def refusal_to_view(self, request: Request) -> str | None:
        """Why this request may not look; None where it may."""
        name = urlsplit(f"//{request.host}").hostname
        if name not in self._names:
            return "Open this page under the address that pilotlamp printed."
        if not _is_local(request.remote_addr):
            return "This page answers on its own machine only."
        return None

    def refusal_to_act(self, request: Request) -> str | None:
        """Why this request may not act; None where it may."""
        refusal = self.refusal_to_view(request)
        if refusal is not None:
            return refusal
        origin = request.headers.get("Origin")
        if origin is not None and urlsplit(origin).netloc != request.host:
            return "Only the page itself may act."
        if ACTING_HEADER not in request.headers or request.headers.get("Sec-Fetch-Site", "same-origin") != "same-origin":
            return "Only the page itself may act."
        return None

    def name_of(self, request: Request) -> str:
        """Who acts, for the record."""
        del request
        return "this machine"


def _is_local(address: str | None) -> bool:
    try:
        return address is not None and ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False
