"""The gate: who may look and who may act. Everything that changes something asks here and nowhere else.

This machine looks; others look only where the page is shared. Acting takes a visit (see ``login_routes``), from this machine too: a proxy or
a tunnel that ends here makes strangers look local, and need not say so.
"""

import ipaddress
import secrets
import threading
import time
from collections.abc import Callable
from urllib.parse import urlsplit

from flask import Request
from itsdangerous import BadSignature, TimestampSigner

LOCAL_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
ACTING_HEADER = "X-Pilotlamp"
"""A page of another site cannot send it without asking first, and that question is not answered here."""
FORWARDED = ("Forwarded", "X-Forwarded-For", "X-Real-IP", "Via")
"""A proxy on this machine makes everybody look local: what says that it came through one counts as coming from elsewhere."""
LOOKING_POSTS = frozenset({"/_dash-update-component", "/enter", "/leave"})
"""What is posted without changing anything of the watch; all else that is no plain look needs the right to act."""

TO_ACT = "To act from here, open the link that pilotlamp printed, or open /enter and give the passphrase; 'pilotlamp passphrase' sets one."

VISIT_LASTS_S = 16 * 3600
"""A show's day, with setting up and packing."""
VISITS_LIMIT = 200
INVITATION_LASTS_S = 900.0
INVITATIONS_LIMIT = 2
"""One for this machine, one for another device."""


class Visits:
    """Begins, knows and ends visits."""

    def __init__(self, now_s: Callable[[], float] = time.monotonic) -> None:
        self._now_s = now_s
        self._signer = TimestampSigner(secrets.token_bytes(32), salt="pilotlamp visit")
        self._lock = threading.Lock()
        self._ends_s: dict[str, float] = {}
        self._invitations_end_s: dict[str, float] = {}

    def begin(self) -> str:
        """The signed text of a new visit, for the cookie."""
        name = secrets.token_hex(16)
        with self._lock:
            now_s = self._now_s()
            self._ends_s = {other: end_s for other, end_s in self._ends_s.items() if end_s > now_s}
            while len(self._ends_s) >= VISITS_LIMIT:
                del self._ends_s[next(iter(self._ends_s))]
            self._ends_s[name] = now_s + VISIT_LASTS_S
        return self._signer.sign(name).decode("ascii")

    def known(self, text: str | None) -> bool:
        """Whether a cookie's text is a visit that still lasts."""
        name = self._name(text)
        with self._lock:
            return name is not None and self._ends_s.get(name, 0.0) > self._now_s()

    def end(self, text: str | None) -> None:
        """End a visit; its cookie is worth nothing afterwards, even a copy of it."""
        name = self._name(text)
        with self._lock:
            if name is not None:
                self._ends_s.pop(name, None)

    def invite(self) -> str:
        """A secret that begins one visit, once and soon; the oldest of those before is worth nothing any more."""
        secret = secrets.token_urlsafe(24)
        with self._lock:
            while len(self._invitations_end_s) >= INVITATIONS_LIMIT:
                del self._invitations_end_s[next(iter(self._invitations_end_s))]
            self._invitations_end_s[secret] = self._now_s() + INVITATION_LASTS_S
        return secret

    def accept(self, secret: str) -> bool:
        """Whether this is an invitation's secret; it is used up by that."""
        with self._lock:
            # A look-up in place of a comparison in constant time: secrets are hashed first, and each works once.
            return self._invitations_end_s.pop(secret, 0.0) > self._now_s()

    def _name(self, text: str | None) -> str | None:
        if text is None or len(text) > 200:
            return None
        try:
            return self._signer.unsign(text.encode(), max_age=VISIT_LASTS_S).decode("ascii")
        except BadSignature:
            return None


class Gate:
    """Lets this machine look, others where the page is shared, and those act who have a visit.

    Args:
        names: Host names under which the page may be asked for: another name means that somebody's page was made to point here.
        shared: Whether other machines of the local network may look.
        visits: Those who may act.
    """

    def __init__(self, names: frozenset[str] = LOCAL_NAMES, *, shared: bool = False, visits: Visits | None = None) -> None:
        self._names = names
        self._shared = shared
        self.visits = visits or Visits()

    def refusal(self, request: Request) -> str | None:
        """Why this request gets nothing at all; None where it may go on. Asked before every answer."""
        if request.method in ("GET", "HEAD"):
            return self.refusal_to_view(request)
        if request.path in LOOKING_POSTS:
            return self.refusal_to_view(request) or _refusal_of_other_sites(request)
        return self.refusal_to_act(request)

    def refusal_to_view(self, request: Request) -> str | None:
        """Why this request may not look; None where it may."""
        if not self._is_ours(_name_asked_for(request)):
            return "Open this page under the address that pilotlamp printed."
        if not is_local(request) and not (self._shared and _is_near(request.remote_addr)):
            return (
                "This page answers on its own machine only." if not self._shared else "This page answers in its own network only."
            )
        return None

    def refusal_to_act(self, request: Request) -> str | None:
        """Why this request may not act; None where it may."""
        refusal = self.refusal_to_view(request) or _refusal_of_other_sites(request)
        if refusal is not None:
            return refusal
        if ACTING_HEADER not in request.headers:
            return "Only the page itself may act."
        if not self.visits.known(request.cookies.get(cookie_name(request))):
            return TO_ACT
        return None

    def name_of(self, request: Request) -> str:
        """Who acts, for the record."""
        return "this machine" if is_local(request) else f"a visitor at {request.remote_addr}"

    def _is_ours(self, name: str | None) -> bool:
        if name is None:
            return False
        # Nobody can make an address point elsewhere; a name they can.
        return name in self._names or (self._shared and _address(name) is not None)


def cookie_name(request: Request) -> str:
    """The cookie of a visit: cookies do not tell ports apart, and a replay beside a watch must not end its visits."""
    return f"pilotlamp_visit_{request.environ['SERVER_PORT']}"


def is_local(request: Request) -> bool:
    """Whether a request comes from this machine, straight."""
    address = _address(request.remote_addr)
    return address is not None and address.is_loopback and not any(header in request.headers for header in FORWARDED)


def _refusal_of_other_sites(request: Request) -> str | None:
    origin = request.headers.get("Origin")
    if origin is not None and origin != f"{request.scheme}://{request.host}":
        return "Only the page itself may act."
    if request.headers.get("Sec-Fetch-Site", "same-origin") != "same-origin":
        return "Only the page itself may act."
    return None


def _name_asked_for(request: Request) -> str | None:
    try:
        return urlsplit(f"//{request.host}").hostname
    except ValueError:
        return None


def _is_near(text: str | None) -> bool:
    address = _address(text)
    return address is not None and (address.is_private or address.is_link_local) and not address.is_unspecified


def _address(text: str | None) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        address = ipaddress.ip_address(text or "")
    except ValueError:
        return None
    if isinstance(address, ipaddress.IPv6Address) and address.ipv4_mapped is not None:
        return address.ipv4_mapped
    return address
