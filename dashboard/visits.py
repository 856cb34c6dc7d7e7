"""Visits of those who may act: signed, and over after a while.

The key lives as long as the program: a restart ends all visits.
"""

import secrets
import threading
import time
from collections.abc import Callable

from itsdangerous import BadSignature, TimestampSigner

VISIT_LASTS_S = 16 * 3600
"""A show's day, with setting up and packing."""
VISITS_LIMIT = 200
INVITATION_LASTS_S = 900.0
INVITATIONS_LIMIT = 2
"""One for this machine, one for another device."""


class Visits:
    """Begins, knows and ends visits.

    Args:
        now_s: A clock that never steps back.
    """

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
        """End a visit; its cookie is worth nothing afterwards, whoever kept a copy."""
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
