"""A collector: one of any number that share the stations' readings and keep everything in Parquet."""

import logging
import threading
import time
from collections import Counter, deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from monitor.bus.broker import Address, Broker, station_filter
from monitor.bus.connection import Connection, Session
from monitor.bus.payloads import KEPT_LIMIT, Acknowledgement, BusFault, EventNote, Readings, Received, WarningNote, decode, encode
from monitor.bus.spool import BEAT_S, ParquetWriter
from monitor.errors import BusError

_log = logging.getLogger(__name__)

GROUP = "collectors"
ACKNOWLEDGE_EVERY_S = 1.0
"""A message more for each station and second; a station that ends waits so long for the last one."""
BACK_OFF_S = (0.2, 0.5, 1.0, 2.0, 5.0)
TOLD_AGAIN_S = 5.0
"""What was acknowledged within so long before a connection was lost may not have arrived: it is acknowledged again."""
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

    Collectors share what comes: each message goes to one of them. A station keeps a message until a collector acknowledges it, which
    it does when the message is in the spool; what a broker or a collector lost meanwhile is sent again, and what a collector knows
    already is acknowledged only. So a message is kept twice only by two collectors, and reading takes each once.

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
            station_filter(hall, "warnings", GROUP),
            station_filter(hall, "events", GROUP),
        )
        try:
            self._keep = ParquetWriter(options.into, options.name, unix_now)
        except OSError as error:
            raise BusError(f"{options.into} cannot be written to ({error.strerror}): give another folder with --into") from error
        self._connection: Connection | None = None
        self._kept: dict[Address, list[tuple[str, int]]] = {}
        self._told: deque[tuple[float, Address, list[tuple[str, int]]]] = deque()
        self._next_acknowledgement_s = self._next_beat_s = 0.0
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
        try:
            self._keep.finish()
        except OSError as error:
            self._cannot_write(error)
        self.counts["rows"] = self._keep.rows

    def _listen(self, stop: threading.Event) -> None:
        connection = Connection(self._broker, Session(client_id="", filters=self._filters, on_message=self._take))
        try:
            connection.connect()
            self._connection, self.sentence = connection, connection.trouble or "collecting"
            while self._told:
                _, station, names = self._told.popleft()
                self._kept.setdefault(station, []).extend(names)
            while not stop.is_set():
                connection.wait(self._wait_s())
                self._tend()
            self._acknowledge()
            connection.close()
        finally:
            self._connection = None
            connection.drop()

    def _wait_s(self) -> float:
        return min(ROUND_S, max(0.0, self._next_step_s - time.monotonic())) if self._keep.is_busy else ROUND_S

    def _pause(self, stop: threading.Event, seconds: float) -> None:
        ends_s = time.monotonic() + seconds
        while time.monotonic() < ends_s and not stop.wait(ROUND_S):
            self._tend()

    def _tend(self) -> None:
        """Everything beside taking in, a little of it."""
        now_s = time.monotonic()
        if now_s >= self._next_acknowledgement_s:
            self._next_acknowledgement_s = now_s + ACKNOWLEDGE_EVERY_S
            self._acknowledge()
        if now_s >= self._next_beat_s:
            self._next_beat_s = now_s + BEAT_S
            if adopted := self._keep.adopt(self._options.adopt_after_s):
                self.counts["taken over"] += adopted
        if now_s >= self._next_turn_s and not self._keep.is_busy:
            self._next_turn_s = now_s + self._options.every_s
            self._keep.turn()
        if now_s >= self._next_step_s and self._keep.is_busy:
            self._step(now_s)

    def _acknowledge(self) -> None:
        """Tell the stations what is on our disk."""
        while self._kept and self._connection is not None:
            station, names = next(iter(self._kept.items()))
            ranges = _ranges(names)
            for k in range(0, len(ranges), KEPT_LIMIT):
                self._connection.publish(station.topic, encode(Acknowledgement(names=tuple(ranges[k : k + KEPT_LIMIT]))))
            self._told.append((time.monotonic(), station, self._kept.pop(station)))
        while self._told and self._told[0][0] < time.monotonic() - TOLD_AGAIN_S and self._connection is not None:
            self._told.popleft()

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

    def _take(self, topic: str, payload: bytes, retained: bool) -> None:  # noqa: FBT001 - the connection's own form
        received = decode(topic, payload, retained=retained)
        if isinstance(received, BusFault):
            self.counts[f"fault: {received.reason}"] += 1
            return
        if not isinstance(received.body, Readings | WarningNote | EventNote):
            return
        self._keep.take(received)
        self._kept.setdefault(replace(received.address, kind="kept"), []).append(received.body.uid)
        self.counts[received.address.kind] += 1
        if self._seen is not None:
            self._seen(received)


def _ranges(names: list[tuple[str, int]]) -> list[tuple[str, int, int]]:
    """Boot, first and last seq of each run of names that follow each other."""
    ranges: list[tuple[str, int, int]] = []
    for boot, seq in sorted(set(names)):
        if ranges and ranges[-1][0] == boot and ranges[-1][2] == seq - 1:
            ranges[-1] = (boot, ranges[-1][1], seq)
        else:
            ranges.append((boot, seq, seq))
    return ranges
