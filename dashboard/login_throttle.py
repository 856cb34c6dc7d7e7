"""Wrong tries: each makes the next one wait longer, for whoever made it and, beyond a crowd of them, for everybody."""

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

FREE_TRIES = 3
FREE_TRIES_OF_ALL = 30
"""Of all addresses together: a guesser may own many."""
LONGEST_WAIT_S = 300.0
FORGOTTEN_AFTER_S = 1800.0
ADDRESSES_LIMIT = 1000
_ALL = ""


@dataclass(slots=True, kw_only=True)
class _AddressState:
    wrong: int = 0
    last_s: float = 0.0


class LoginThrottle:
    """Counts wrong tries by address.

    Args:
        now_s: A clock that never steps back.
    """

    def __init__(self, now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self._lock = threading.Lock()
        self._all = _AddressState()
        self._rows: OrderedDict[str, _AddressState] = OrderedDict()

    def wait_s(self, address: str, *, alone: bool = False) -> float:
        """Seconds until this address may try again; 0 when it may now.

        Args:
            address: Which.
            alone: Count its own wrong tries only, not those of all others.
        """
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
