"""A station without a bench: a publisher fed with steps, and a listener that keeps what comes."""

import threading
import time
from dataclasses import replace

import numpy as np

from monitor.bus.answers import answer
from monitor.bus.broker import station_filter
from monitor.bus.connection import Connection, Session
from monitor.bus.outbox import Outbox
from monitor.bus.payloads import BusFault, decode
from monitor.bus.publish import Publisher
from monitor.errors import BusError
from monitor.values import Cause, Chunk, Event, Priority, ReadingBlock, Scope, Step
from monitor.values import Warning as RaisedWarning
from tests.runtime.streams import plain_layout


class Station:
    """A publisher in its thread."""

    def __init__(self, broker, name="Fernhollow", path=None, single_figures=False, **outbox):
        self.began = time.monotonic()
        self.outbox = Outbox(path, **outbox)
        self.publisher = Publisher(
            plain_layout(), broker, name, outbox=self.outbox, began_unix_s=time.time_ns() / 1e9, now_s=self.now_s
        )
        if single_figures:
            self.publisher.add_single_figures()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self.publisher.work, args=(self._stop,), daemon=True)
        self._thread.start()
        self._said = 0

    def now_s(self):
        return time.monotonic() - self.began

    def read(self, volts=15.0, amps=2.0, clipped=False):
        """One short block of readings now."""
        now = self.now_s()
        self.publisher.take(step(now, readings=(replace(block(now, volts, amps), amps_clipped=np.full((4, 2), clipped)),)))

    def tell(self, number):
        """One warning and one event of that number."""
        now = self.now_s()
        self.publisher.take(step(now, warnings=(raised(number, now),), events=(happened(number, now),)))

    def stop(self):
        self._stop.set()
        self._thread.join(60)
        self.outbox.close()


class CountedStation(Station):
    """A station that knows what it put into its outbox."""

    def __init__(self, broker, name):
        self.put = set()
        super().__init__(broker, name)
        put = self.outbox.put

        def counted(topic, payload, *, notice, name):
            put(topic, payload, notice=notice, name=name)
            self.put.add(name)

        self.outbox.put = counted


def kept_names(folder):
    return {
        name
        for table in ("readings", "warnings", "events")
        for name in answer(folder, f"SELECT boot, seq FROM {table}").rows  # noqa: S608 - our own text
    }


class Listener:
    """Takes everything of some kinds, and comes back when the broker does."""

    def __init__(self, broker, *kinds):
        self.got, self.times = [], []
        self._broker = broker
        filters = [station_filter("Hall", kind) for kind in kinds]
        self._session = Session(client_id="listener", filters=filters, on_message=self._take)
        self.connected = threading.Event()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()
        assert self.connected.wait(60)

    def of(self, kind):
        return [got.body for got in list(self.got) if got.address.kind == kind]

    def stop(self):
        self._stop.set()
        self._thread.join(60)

    def _take(self, topic, payload, retained):
        got = decode(topic, payload, retained=retained)
        assert not isinstance(got, BusFault), got
        self.got.append(got)

    def _work(self):
        while not self._stop.is_set():
            connection = Connection(self._broker, self._session)
            try:
                connection.connect()
                self.connected.set()
                while not self._stop.is_set():
                    connection.wait(0.05)
            except BusError:
                self.connected.clear()
                connection.drop()
                time.sleep(0.1)
        connection.drop()


def step(now_s, **more):
    return Step(port="x", chunk=Chunk(data=b""), now_s=now_s, **more)


def block(at_s, volts, amps, rows=4):
    ends = at_s - 0.01 * np.arange(rows)[::-1]
    full = np.ones((rows, 2))
    nothing = full * np.nan
    return ReadingBlock(
        board="bench-1", districts=("Outer main", "Town lights"), start_s=ends - 1 / 60, end_s=ends,
        volts_rms=full * volts, amps_rms=full * amps, volts_mean=nothing, amps_mean=nothing, watts=nothing,
        volts_peak=nothing, amps_peak=nothing, far_volts_rms=nothing, frequency_hz=np.full(rows, 60.0),
    )  # fmt: skip


def raised(number, now_s, end_s=None):
    return RaisedWarning(
        id=number, rule="overload", priority=Priority.HIGH, scope=Scope(kind="supply", name="North bench"),
        start_s=now_s, end_s=end_s, trip_in_s=20.0, message="North bench is over its plate.", advice="Take a train off.",
    )  # fmt: skip


def happened(number, now_s):
    return Event(id=number, district="Outer main", cause=Cause.SHORT, start_s=now_s, end_s=now_s + 0.1, confidence=0.9)
