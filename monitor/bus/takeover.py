"""Fetches what the broker still has for a collector that died, by connecting in its name."""

import time
from collections.abc import Sequence

from monitor.bus.broker import Broker
from monitor.bus.connection import Connection, Session
from monitor.bus.leases import Vacant

IDLE_S = 5.0
"""So long without a message, and what had waited is all here: the broker sends it without a pause."""

AT_ONCE = 50
"""Packets of one step."""


class Takeover:
    """One session being emptied; the broker hands it over to us and would cut the dead one off were it alive.

    Args:
        broker: Where.
        vacant: Whose.
        session: Ours: what is to be taken and how.

    Raises:
        BusError: The broker is away, now or in a later step; begin again.
    """

    def __init__(self, broker: Broker, vacant: Vacant, session: Session) -> None:
        self.vacant = vacant
        self._take = session.on_message
        self._came_s = time.monotonic()
        made = Session(client_id=vacant.client_id, on_message=self._came, kept_s=session.kept_s)
        self._connection = Connection(broker, made)
        self._begin(session.filters)

    def step(self) -> bool:
        """Let what is there come.

        Returns:
            True when everything has come.
        """
        for _ in range(AT_ONCE):
            self._connection.wait(0.0)
        if time.monotonic() - self._came_s < IDLE_S:
            return False
        self._connection.close(forget=True)
        return True

    def drop(self) -> None:
        """Give up; the broker keeps the rest."""
        self._connection.drop()

    def _begin(self, filters: Sequence[str]) -> None:
        try:
            self._connection.connect()
            self._connection.unsubscribe(filters)
        except BaseException:
            self._connection.drop()
            raise

    def _came(self, topic: str, payload: bytes, retained: bool) -> None:  # noqa: FBT001 - the connection's own form
        self._came_s = time.monotonic()
        if self._take is not None:
            self._take(topic, payload, retained)
