"""Listens to a hall and keeps its book, for pages and programs."""

import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from monitor.bus.broker import KINDS, Broker, station_filter
from monitor.bus.connection import Connection, Session
from monitor.bus.hall_book import HallBook
from monitor.bus.hall_values import StationView
from monitor.bus.payloads import BusFault, Received, decode
from monitor.errors import BusError

BACK_OFF_S = (0.2, 0.5, 1.0, 2.0)
ROUND_S = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class HallPicture:
    """How the hall stands.

    Attributes:
        now_unix_s: The moment, by our clock.
        stations: Worst first; one where one was asked for.
        connected: The broker is there; where not, everything grows old and says so.
        sentence: What a person should know about the listening; empty where all is well.
        faults: Messages that could not be understood, by reason.
    """

    now_unix_s: float
    stations: tuple[StationView, ...]
    connected: bool
    sentence: str
    faults: dict[str, int]


class HallListener:
    """Listens until stopped; looked at from any thread.

    Args:
        broker: Where; a broker without a hall means all halls.
        unix_now: Our clock: Unix seconds that never step.
        seen: Called with each message that was understood, in the listening thread, for a benchmark.
    """

    def __init__(self, broker: Broker, *, unix_now: Callable[[], float], seen: Callable[[Received], None] | None = None) -> None:
        self._broker, self._unix_now, self._seen = broker, unix_now, seen
        self._book = HallBook()
        self._lock = threading.Lock()
        self._faults: Counter[str] = Counter()
        self._connected = False
        self._sentence = f"Looking for the broker at {broker.place}."

    def look(self, hall: str | None = None, station: str | None = None) -> HallPicture:
        """How everything stands, or one station of a hall."""
        now_unix_s = self._unix_now()
        with self._lock:
            if hall is not None and station is not None:
                one = self._book.station(hall, station, now_unix_s)
                stations: tuple[StationView, ...] = () if one is None else (one,)
            else:
                stations = self._book.stations(now_unix_s, hall)
            return HallPicture(
                now_unix_s=now_unix_s,
                stations=stations,
                connected=self._connected,
                sentence=self._sentence,
                faults=dict(self._faults),
            )

    @property
    def sentence(self) -> str:
        """What a person should know about the listening; empty where all is well."""
        return self._sentence

    def work(self, stop: threading.Event) -> None:
        """Listen until stopped; for a :class:`monitor.runtime.supervision.SupervisedThread`."""
        failures = 0
        while not stop.is_set():
            began_s = time.monotonic()
            try:
                self._listen(stop)
            except BusError as error:
                self._sentence = f"The broker of the hall cannot be reached: {error}."
            self._connected = False
            failures = 0 if time.monotonic() - began_s > BACK_OFF_S[-1] else failures + 1
            stop.wait(BACK_OFF_S[min(failures, len(BACK_OFF_S) - 1)])

    def _listen(self, stop: threading.Event) -> None:
        filters = [station_filter(self._broker.hall or None, kind) for kind in KINDS if kind != "kept"]
        connection = Connection(self._broker, Session(client_id="", filters=filters, on_message=self._take))
        try:
            connection.connect()
            self._sentence, self._connected = connection.trouble, True
            while not stop.is_set():
                connection.wait(ROUND_S)
            connection.close()
        finally:
            connection.drop()

    def _take(self, topic: str, payload: bytes, retained: bool) -> None:  # noqa: FBT001 - the connection's own form
        received = decode(topic, payload, retained=retained)
        if isinstance(received, BusFault):
            self._faults[received.reason] += 1
            return
        with self._lock:
            self._book.take(received, self._unix_now())
        if self._seen is not None:
            self._seen(received)
