"""Connections of viewers: a time for each request to be here whole, and so many of each address that others find a place."""

import asyncio
from collections import Counter
from typing import Any, cast

from uvicorn.protocols.http.h11_impl import H11Protocol, RequestResponseCycle

REQUEST_WITHIN_S = 10.0
"""From the first byte of a request to its last, and from a new connection to the first request."""
OF_ADDRESS = 40
"""A browser opens six; a club's tablets and screens behind one address some more."""
OF_VISITORS = 300
"""All other addresses together."""
HERE = ("127.0.0.1", "::1")
OF_HERE = 400


class ConnectionCounts:
    """How many connections each address has."""

    def __init__(self) -> None:
        self._counts: Counter[str] = Counter()

    def admit(self, address: str) -> bool:
        """Count one more; False where there is no place for it, and then it is not counted."""
        if address in HERE:
            full = self._counts[address] >= OF_HERE
        else:
            visitors = sum(count for other, count in self._counts.items() if other not in HERE)
            full = self._counts[address] >= OF_ADDRESS or visitors >= OF_VISITORS
        if not full:
            self._counts[address] += 1
        return not full

    def release(self, address: str) -> None:
        """One less."""
        self._counts[address] -= 1
        if not self._counts[address]:
            del self._counts[address]


class BoundedConnection(H11Protocol):
    """One connection; everything of HTTP is the library's."""

    def __init__(self, counts: ConnectionCounts, **how: Any) -> None:  # noqa: ANN401 - the library's own
        super().__init__(**how)
        self._counts = counts
        self._admitted = False
        self._deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override] # as the library has it
        """Take it, or end it where its address has enough."""
        super().connection_made(transport)
        self._admitted = self._counts.admit(self._address)
        if not self._admitted:
            transport.abort()
            return
        self._expect_request()

    def connection_lost(self, exc: Exception | None) -> None:
        """It is gone."""
        super().connection_lost(exc)
        if self._admitted:
            self._counts.release(self._address)
            self._admitted = False
        self._expect_nothing()

    def data_received(self, data: bytes) -> None:
        """Take bytes; trickling ones do not make the time for a request longer."""
        super().data_received(data)
        if not self._is_waiting:
            self._expect_nothing()
        elif self._deadline is None:
            self._expect_request()

    @property
    def _address(self) -> str:
        return self.client[0] if self.client else ""

    @property
    def _is_waiting(self) -> bool:
        """Whether a request, or the rest of one, is still to come."""
        cycle = cast("RequestResponseCycle | None", self.cycle)  # None before the first request, whatever the library declares
        return cycle is None or cycle.response_complete or cycle.more_body

    def _expect_request(self) -> None:
        self._deadline = self.loop.call_later(REQUEST_WITHIN_S, self._give_up)

    def _expect_nothing(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None

    def _give_up(self) -> None:
        self._deadline = None
        if self._is_waiting:
            self.transport.abort()
