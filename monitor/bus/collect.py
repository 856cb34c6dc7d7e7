"""A collector: one of any number that share the stations' readings and keep everything in Parquet."""

import logging
import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from monitor.bus.broker import Broker, station_filter
from monitor.bus.connection import Connection, Session
from monitor.bus.leases import BEAT_S, Leases, Vacant
from monitor.bus.payloads import BusFault, Received, decode
from monitor.bus.spool import ParquetWriter
from monitor.errors import BusError

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


_log = logging.getLogger(__name__)

GROUP = "collectors"
KEPT_S = 2 * 86_400
"""The broker keeps messages for so long for a collector that is away and that nobody takes over."""
BACK_OFF_S = (0.2, 0.5, 1.0, 2.0, 5.0)
ROUND_S = 0.05
REST = 3.0
"""Writing takes a quarter of the time at most: after each piece comes a rest of so many times its length."""
FULL_PAUSE_S = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CollectorOptions:
    """How to collect.

    Attributes:
        into: The folder that all collectors share.
        name: This collector; each has its own.
        every_s: How often Parquet is written.
        adopt_after_s: A collector that gave no sign of life for so long is taken over by another.
    """

    into: Path
    name: str
    every_s: float = 30.0
    adopt_after_s: float = 120.0


class Collector:
    """Collects until stopped.

    Readings come by a shared subscription: each message to one collector. Warnings and events are few and go to every collector;
    reading takes each once. The broker keeps what was not fetched, also for one that died, until another fetches it in its name.
    A message is confirmed to the broker when it is in the spool.

    Args:
        broker: Where from; a broker without a hall means all halls.
        options: How.
        unix_now: Wall clock.
        seen: Called with each message that was understood, for a benchmark.
    """

    def __init__(
        self,
        broker: Broker,
        options: CollectorOptions,
        *,
        unix_now: Callable[[], float],
        seen: Callable[[Received], None] | None = None,
    ) -> None:
        self._broker, self._options, self._seen = broker, options, seen
        hall = broker.hall or None
        self._filters = (
            station_filter(hall, "readings", GROUP),
            station_filter(hall, "warnings"),
            station_filter(hall, "events"),
        )
        try:
            self._leases = Leases(options.into, options.name, options.adopt_after_s)
            self._client_id = self._leases.acquire()
            self._keep = ParquetWriter(options.into, options.name, unix_now)
        except OSError as error:
            raise BusError(f"{options.into} cannot be written to ({error.strerror}): give another folder with --into") from error
        self._takeover: Takeover | None = None
        self._next_beat_s = 0.0
        self._next_turn_s = time.monotonic() + options.every_s
        self._next_step_s = 0.0
        self.counts: Counter[str] = Counter()
        self.sentence = f"Looking for the broker at {broker.place}."

    def work(self, stop: threading.Event) -> None:
        """Collect until stopped; what was taken is written before it returns."""
        failures = 0
        while not stop.is_set():
            began_s = time.monotonic()
            try:
                self._listen(stop)
            except (BusError, OSError) as error:  # OSError: the disk; what was not kept was not confirmed and comes again
                self.sentence = f"{error}."
            failures = 0 if time.monotonic() - began_s > BACK_OFF_S[-1] else failures + 1
            self._pause(stop, BACK_OFF_S[min(failures, len(BACK_OFF_S) - 1)])
        self._leases.leave()
        try:
            self._keep.finish()
        except OSError as error:
            self._cannot_write(error)
        self.counts["rows"] = self._keep.rows

    def _listen(self, stop: threading.Event) -> None:
        connection = Connection(self._broker, self._session())
        try:
            connection.connect()
            self.sentence = connection.trouble or "collecting"
            while not stop.is_set():
                connection.wait(self._wait_s())
                if not self._tend():
                    return
            connection.close()
        finally:
            connection.drop()
            if self._takeover is not None:
                self._give_up(self._takeover)

    def _wait_s(self) -> float:
        if self._takeover is not None:
            return 0.005
        return min(ROUND_S, max(0.0, self._next_step_s - time.monotonic())) if self._keep.is_busy else ROUND_S

    def _pause(self, stop: threading.Event, seconds: float) -> None:
        ends_s = time.monotonic() + seconds
        while time.monotonic() < ends_s and not stop.wait(ROUND_S):
            self._tend(connected=False)

    def _tend(self, *, connected: bool = True) -> bool:
        """Everything beside taking in, a little of it.

        Returns:
            False where the connection has to be made anew: under another name.
        """
        now_s = time.monotonic()
        holds_lease = True
        if now_s >= self._next_beat_s:
            self._next_beat_s = now_s + BEAT_S
            holds_lease = self._beat()
            if connected and holds_lease and self._takeover is None:
                self._begin_takeover()
        if self._takeover is not None:
            self._fetch(self._takeover)
        if now_s >= self._next_turn_s and not self._keep.is_busy:
            self._next_turn_s = now_s + self._options.every_s
            self._turn()
        if now_s >= self._next_step_s and self._keep.is_busy:
            self._step(now_s)
        return holds_lease

    def _beat(self) -> bool:
        if self._leases.beat():
            return True
        _log.warning("another collector took over, since this computer stood still or its folder was away; starting again")
        try:
            self._client_id = self._leases.acquire()
        except (BusError, OSError) as error:
            self.sentence = f"{error}."
        return False

    def _begin_takeover(self) -> None:
        for vacant in self._leases.take_vacant():
            _log.info("taking over what collector %s left", vacant.owner)
            try:
                self._takeover = Takeover(self._broker, vacant, self._session())
            except BusError as error:
                _log.warning("what the broker has for %s cannot be fetched now: %s", vacant.owner, error)
                self._leases.give_back(vacant)
            return

    def _fetch(self, takeover: Takeover) -> None:
        try:
            if not takeover.step():
                return
            self._keep.adopt(takeover.vacant.owner)
            self._leases.release(takeover.vacant)
            self.counts["taken over"] += 1
        except BusError as error:
            _log.warning("what the broker has for %s cannot be fetched now: %s", takeover.vacant.owner, error)
            self._give_up(takeover)
        self._takeover = None

    def _give_up(self, takeover: Takeover) -> None:
        takeover.drop()
        self._leases.give_back(takeover.vacant)
        self._takeover = None

    def _turn(self) -> None:
        for owner in self._keep.owners() - self._leases.owners() - {self._options.name}:
            self._keep.adopt(owner)  # its lease is gone and its files are not: whoever took it over died in between
        self._keep.turn()

    def _step(self, began_s: float) -> None:
        try:
            self._keep.step()
            ended_s = time.monotonic()
            self._next_step_s = ended_s + REST * (ended_s - began_s)
        except OSError as error:
            self._cannot_write(error)
            self._next_step_s = time.monotonic() + FULL_PAUSE_S
        self.counts["rows"] = self._keep.rows

    def _cannot_write(self, error: OSError) -> None:
        self.sentence = f"Nothing can be written to {self._options.into} ({error.strerror}): make room or give another folder."
        _log.error("%s", self.sentence)

    def _session(self) -> Session:
        return Session(client_id=self._client_id, filters=self._filters, on_message=self._take, kept_s=KEPT_S)

    def _take(self, topic: str, payload: bytes, retained: bool) -> None:  # noqa: FBT001 - the connection's own form
        received = decode(topic, payload, retained=retained)
        if isinstance(received, BusFault):
            self.counts[f"fault: {received.reason}"] += 1
            return
        self._keep.take(received)
        self.counts[received.address.kind] += 1
        if self._seen is not None:
            self._seen(received)
