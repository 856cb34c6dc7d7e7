"""Stations for the hall's benchmark: light ones that send readings like a station, and the very publisher with its outbox on disk."""

import threading
import time

import numpy as np

from monitor.bus.broker import Address
from monitor.bus.connection import Connection, Session, Will
from monitor.bus.grid import GRACE_S
from monitor.bus.notes import Writer
from monitor.bus.outbox import Outbox
from monitor.bus.payloads import GRID_S, Outline, OutlineDistrict, OutlineSupply, Presence, Readings, encode
from monitor.bus.publish import Publisher
from monitor.errors import BusError
from monitor.values import ReadingBlock
from tests.bus.stations import happened, raised, step
from tests.runtime.streams import plain_layout

DISTRICTS = tuple(f"District {k}" for k in range(8))
HALL = "Hall"
_DRAWN = np.random.default_rng(9)


def unix_now():
    return time.time_ns() / 1e9


class LightStation:
    """Readings every half second, presence every five, as a station sends them; no outbox."""

    def __init__(self, broker, name):
        self._broker, self._name = broker, name
        self._writer = Writer(began_unix_s=unix_now() - _DRAWN.random())
        self._row = 2
        self._presence_row = 0
        self._connection = None
        self.sent = 0

    def turn(self):
        """Whatever is due now."""
        try:
            if self._connection is None:
                self._connect()
            self._connection.wait(0.0)
            now_s = unix_now() - self._writer.began_unix_s
            if now_s >= (self._row + 1) * GRID_S + GRACE_S:
                self._publish("readings", self._readings(now_s))
                self._row = int((now_s - GRACE_S) / GRID_S)
                self.sent += 1
                if self._row >= self._presence_row:
                    self._presence_row = self._row + 10
                    self._publish("presence", Presence(**self._writer.head(now_s), state="here", now_s=now_s), retain=True)
        except BusError:
            self._connection.drop()
            self._connection = None

    def _connect(self):
        will = Will(topic=self._topic("presence"), payload=encode(self._writer.last_will()))
        self._connection = Connection(self._broker, Session(client_id=f"{self._name}-{self._writer.boot}", will=will))
        self._connection.connect()
        districts = tuple(
            OutlineDistrict(name=name, supply=f"Supply {k // 4}", output=str(k), use="track", limit_amps=10.0)
            for k, name in enumerate(DISTRICTS)
        )
        supplies = tuple(OutlineSupply(name=f"Supply {k}", plate_va=180.0) for k in range(2))
        outline = Outline(**self._writer.head(0.0), title=self._name, supplies=supplies, districts=districts)
        self._publish("layout", outline, retain=True)

    def _readings(self, now_s):
        figures = _DRAWN.uniform(0.5, 18.0, (4, 8)).round(2)
        columns = [tuple((value,) for value in row) for row in figures.tolist()]
        return Readings(
            **self._writer.head(now_s), began_unix_s=self._writer.began_unix_s, first=self._row, rows=1, districts=DISTRICTS,
            volts=columns[0], amps=columns[1], amps_highest=columns[2], watts=columns[3],
            supplies=("Supply 0", "Supply 1"), va=((100.0,), (90.0,)), share=((0.55,), (0.5,)),
        )  # fmt: skip

    def _publish(self, kind, body, retain=False):
        self._connection.publish(self._topic(kind), encode(body), retain=retain)

    def _topic(self, kind):
        return Address(hall=HALL, station=self._name, kind=kind).topic


class RealStation:
    """The publisher of ``pilotlamp watch`` with its outbox on disk, fed ten times a second; some notices a second."""

    def __init__(self, broker, name, folder, notices_a_second):
        self._began_s = time.monotonic() - _DRAWN.random()
        self._outbox = Outbox(folder / f"{name}.sqlite")
        began_unix_s = unix_now() - (time.monotonic() - self._began_s)
        self._publisher = Publisher(
            plain_layout(), broker, name, outbox=self._outbox, began_unix_s=began_unix_s, now_s=self._now_s
        )
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._publisher.work, args=(self._stop,), daemon=True)
        self._thread.start()
        self._next_block_s = self._now_s()
        self._next_notice_s = self._now_s() + _DRAWN.random()
        self._pause_s = 1 / notices_a_second
        self.told = 0

    def turn(self, tell=True):
        """Whatever is due now."""
        now_s = self._now_s()
        if now_s >= self._next_block_s:
            self._next_block_s = now_s + 0.1
            self._publisher.take(step(now_s, readings=(_block(now_s),)))
        if tell and now_s >= self._next_notice_s:
            self._next_notice_s = now_s + self._pause_s
            self.told += 1
            self._publisher.take(step(now_s, warnings=(raised(self.told, now_s),), events=(happened(self.told, now_s),)))

    @property
    def waiting(self):
        return self._outbox.waiting_count

    def stop(self):
        self._stop.set()
        self._thread.join(30)
        self._outbox.close()

    def _now_s(self):
        return time.monotonic() - self._began_s


def crowd_role(pipe, broker, folder, light, real, notices_a_second):
    """A process of stations: until "quiet" all of it, then no notices any more, until "stop"."""
    lights = [LightStation(broker, f"light {k}") for k in range(light)]
    reals = [RealStation(broker, f"real {k}", folder, notices_a_second) for k in range(real)]
    tell, cpu_s, began_s = True, time.process_time(), time.monotonic()
    while True:
        for station in lights:
            station.turn()
        for station in reals:
            station.turn(tell)
        time.sleep(0.004)
        if pipe.poll():
            word = pipe.recv()
            if word == "stop":
                break
            tell = tell and word != "quiet"
            pipe.send(
                {
                    "told": sum(s.told for s in reals),
                    "waiting": sum(s.waiting for s in reals),
                    "sent": sum(s.sent for s in lights),
                }
            )
    cores = (time.process_time() - cpu_s) / (time.monotonic() - began_s)
    for station in reals:
        station.stop()
    pipe.send({"cores": cores, "sent": sum(station.sent for station in lights)})


def _block(at_s, rows=12):
    ends = at_s - np.arange(rows)[::-1] / 120
    full = np.full((rows, 8), 15.0)
    nothing = np.full((rows, 8), np.nan)
    return ReadingBlock(
        board="bench-1", districts=DISTRICTS, start_s=ends - 1 / 60, end_s=ends, volts_rms=full, amps_rms=full / 5,
        volts_mean=nothing, amps_mean=nothing, watts=full * 3, volts_peak=nothing, amps_peak=nothing, far_volts_rms=nothing,
        frequency_hz=np.full(rows, 60.0),
    )  # fmt: skip
