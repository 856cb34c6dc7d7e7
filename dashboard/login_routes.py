"""Entering: by the one-time link that the terminal shows and opens, or by passphrase; and leaving again."""

import logging
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

import msgspec
from flask import Blueprint, Response, request
from msgspec import Meta, Struct

from dashboard.access import ACTING_HEADER, VISIT_LASTS_S, Gate, cookie_name, is_local
from dashboard.passphrase import LONGEST, Passphrase
from dashboard.requests import answer, read_request
from dashboard.views.shell import plain_page

FREE_TRIES = 3
FREE_TRIES_OF_ALL = 30
"""Of all addresses together: a guesser may own many."""
LONGEST_WAIT_S = 300.0
FORGOTTEN_AFTER_S = 1800.0
ADDRESSES_LIMIT = 1000


@dataclass(slots=True, kw_only=True)
class _AddressState:
    wrong: int = 0
    last_s: float = 0.0


class LoginThrottle:
    """Counts wrong tries by address."""

    def __init__(self, now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self._lock = threading.Lock()
        self._all = _AddressState()
        self._rows: OrderedDict[str, _AddressState] = OrderedDict()

    def wait_s(self, address: str, *, alone: bool = False) -> float:
        """Seconds until this address may try again, alone: for its own wrong tries only; 0 when it may now."""
        with self._lock:
            own_s = self._left_s(self._rows.get(address, _AddressState()), FREE_TRIES)
            return own_s if alone else max(own_s, self._left_s(self._all, FREE_TRIES_OF_ALL))

    def wrong(self, address: str) -> int:
        """Count a wrong try; how many this address has made now."""
        with self._lock:
            row = self._rows.setdefault(address, _AddressState())
            self._rows.move_to_end(address)
            while len(self._rows) > ADDRESSES_LIMIT:
                self._rows.popitem(last=False)
            for counted in (row, self._all):
                if self._now_s() - counted.last_s > FORGOTTEN_AFTER_S:
                    counted.wrong = 0
                counted.wrong += 1
                counted.last_s = self._now_s()
            return row.wrong

    def right(self, address: str) -> None:
        """Forget the wrong tries of an address that got it right, and take them off the common count."""
        with self._lock:
            own = self._rows.pop(address, _AddressState())
            self._all.wrong = max(0, min(self._all.wrong - own.wrong, FREE_TRIES_OF_ALL - 1))

    def _left_s(self, row: _AddressState, free: int) -> float:
        if row.wrong < free:
            return 0.0
        wait_s = min(LONGEST_WAIT_S, 2.0 ** min(row.wrong - free + 1, 20))
        return max(0.0, row.last_s + wait_s - self._now_s())


BODY_LIMIT_BYTES = 1024
HERE = "this computer"
"""What comes straight from this computer, not through a proxy on it."""
_log = logging.getLogger(__name__)

# The secret of a link stands behind '#': browsers never send that part, so it is in no log, and no preview of a link uses it up.
FORM = plain_page(
    "Act from this device",
    """<p>Looking needs no passphrase. To mark a warning as seen or to change anything from here, enter the passphrase of this watch.</p>
<form id="enter"><input type="text" name="user" autocomplete="username" value="this watch" hidden>
<label>Passphrase <input type="password" name="passphrase" autocomplete="current-password" maxlength="200"></label>
<div class="files"><button type="submit">Enter</button> <button type="button" id="leave">Leave</button></div></form>
<p role="status" id="entered"></p><p><a href="/">Back to the layout</a></p>""",
    script="/assets/page/enter.js",
)


class Key(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What somebody enters with: one of the two."""

    passphrase: Annotated[str, Meta(max_length=LONGEST)] | None = None
    secret: Annotated[str, Meta(max_length=100)] | None = None


class LoginGate:
    """Checks keys, slows those who have wrong ones; without a passphrase it lets in by link alone."""

    def __init__(self, gate: Gate, passphrase: Passphrase | None) -> None:
        self._gate = gate
        self._passphrase = passphrase
        self._tries = LoginThrottle(time.monotonic)
        self._lock = threading.Lock()

    def enter(self, key: Key, address: str) -> tuple[int, str, str | None]:
        """Status, sentence and the visit's cookie, if it begins.

        Args:
            key: What it is tried with. The secret of a link is beyond guessing (192 bits): no wrong tries hold it up.
            address: From where; strangers' wrong tries never hold up :data:`HERE`.
        """
        # Under the lock from asking to counting: guesses that come at once wait for each other's verdict.
        with self._lock:
            wait_s = 0.0 if key.secret is not None else self._tries.wait_s(address, alone=address == HERE)
            if wait_s > 0:
                return 429, f"Too many wrong tries: wait {wait_s:.0f} s.", None
            if self._is_right(key):
                self._tries.right(address)
                _log.warning("somebody at %s entered and may act", address)
                return 200, "You may act from this device now.", self._gate.visits.begin()
            wrong = self._tries.wrong(address)
        _log.warning("wrong try number %d to enter, from %s", wrong, address)
        return 403, "That is not it, or no longer.", None

    def _is_right(self, key: Key) -> bool:
        if key.secret is not None:
            return self._gate.visits.accept(key.secret)
        return self._passphrase is not None and self._passphrase.matches(key.passphrase or "")


def login_routes(gate: Gate, passphrase: Passphrase | None) -> Blueprint:
    """The addresses /enter and /leave."""
    routes = Blueprint("entering", __name__)
    login = LoginGate(gate, passphrase)

    @routes.get("/enter")
    def form() -> Response:
        return Response(FORM, mimetype="text/html", headers={"Cache-Control": "no-store"})

    @routes.post("/enter")
    def enter() -> Response:
        if ACTING_HEADER not in request.headers:
            return answer(403, "Only the page itself may enter.")
        try:
            key = read_request(Key, BODY_LIMIT_BYTES)
        except msgspec.MsgspecError:
            return answer(400, "Not understood.")
        status, sentence, visit = login.enter(key, HERE if is_local(request) else request.remote_addr or "nowhere")
        response = answer(status, sentence)
        if visit is not None:
            _keep_visit(response, visit)
        return response

    @routes.post("/leave")
    def leave() -> Response:
        if ACTING_HEADER not in request.headers:
            return answer(403, "Only the page itself may leave.")
        gate.visits.end(request.cookies.get(cookie_name(request)))
        response = answer(200, "This device only looks now.")
        response.delete_cookie(cookie_name(request), httponly=True, samesite="Strict", path="/")
        return response

    return routes


def _keep_visit(response: Response, visit: str) -> None:
    name, secure = cookie_name(request), request.is_secure
    response.set_cookie(name, visit, max_age=VISIT_LASTS_S, httponly=True, samesite="Strict", secure=secure, path="/")
