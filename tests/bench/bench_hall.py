"""The hall with a real Mosquitto: delay, load, a broker killed in mid-run, and what a second collector brings.

    python -m tests.bench.bench_hall [--seconds 20] [--stations 200] [--part hall|drain]

Every part is a process of its own: broker, stations, collectors, the hall's listener with a page's work beside it.
"""

import argparse
import atexit
import multiprocessing
import os
import statistics
import tempfile
import threading
import time
from pathlib import Path

import psutil

from dashboard.hall.feed import TICK_S, HallFeed
from monitor.bus.answers import answer
from monitor.bus.broker import Address
from monitor.bus.collect import Collector, CollectorOptions
from monitor.bus.connection import Connection, Session
from monitor.bus.hall_listener import HallListener
from monitor.bus.payloads import GRID_S, Readings, encode
from tests.bench.hall_crowd import DISTRICTS, HALL, crowd_role, unix_now
from tests.bus.bodies import readings
from tests.bus.mosquitto import Mosquitto, until

DRAINED = 12_000
"""Messages of the test of what collectors can take."""
_spawn = multiprocessing.get_context("spawn")


class Part:
    """A process with a pipe to it."""

    def __init__(self, role, *args):
        self.pipe, theirs = _spawn.Pipe()
        self.process = _spawn.Process(target=role, args=(theirs, *args), daemon=True)
        self.process.start()

    def ask(self, word):
        self.pipe.send(word)
        if not self.pipe.poll(90):
            raise SystemExit(f"no answer to {word!r}")
        return self.pipe.recv()

    def end(self):
        result = self.ask("stop")
        self.process.join(30)
        return result


class Delays:
    """Seconds from the end of a row of readings, or from the making of a notice, to now."""

    def __init__(self):
        self.readings, self.notices, self.distinct = [], [], set()
        self.first_s = self.last_s = None
        self.first_cpu_s = self.last_cpu_s = 0.0

    def take(self, received):
        body = received.body
        self.last_s, self.last_cpu_s = time.monotonic(), time.process_time()
        if self.first_s is None:
            self.first_s, self.first_cpu_s = self.last_s, self.last_cpu_s
        if isinstance(body, Readings):
            self.readings.append(unix_now() - body.began_unix_s - (body.first + body.rows) * GRID_S)
        elif received.address.kind in ("warnings", "events"):
            self.notices.append(unix_now() - body.made_unix_s)
            self.distinct.add((received.address, body.boot, body.id))


def collector_role(pipe, broker, into, name, every_s):
    delays = Delays()
    collector = Collector(broker, CollectorOptions(into=into, name=name, every_s=every_s), unix_now=unix_now, seen=delays.take)
    stop = threading.Event()
    thread = threading.Thread(target=collector.work, args=(stop,))
    cpu_s, began_s = time.process_time(), time.monotonic()
    thread.start()
    _serve(
        pipe,
        lambda: {
            "count": len(delays.readings),
            "notices": len(delays.notices),
            "distinct": len(delays.distinct),
            "sentence": collector.sentence,
        },
        delays,
    )
    result = _result(delays, cpu_s, began_s)
    stop.set()
    thread.join(60)
    pipe.send(result)


def hall_role(pipe, broker):
    """The hall's listener and the feed of its page, made as often as for a viewer; delays up to the payload that shows a row."""
    taken, shown = [], Delays()
    watch, stop = HallListener(broker, unix_now=unix_now, seen=taken.append), threading.Event()
    feed, looks = HallFeed(watch), []

    def look():
        while not stop.wait(TICK_S):
            count, began_s = len(taken), time.thread_time()
            body = feed._hall_body(1)
            looks.append((time.thread_time() - began_s, len(body)))
            for received in taken[:count]:
                shown.take(received)
            del taken[:count]

    threads = [threading.Thread(target=work) for work in (lambda: watch.work(stop), look)]
    cpu_s, began_s = time.process_time(), time.monotonic()
    for thread in threads:
        thread.start()
    _serve(
        pipe,
        lambda: {
            "count": len(shown.readings),
            "notices": len(shown.notices),
            "sentence": "collecting" if watch.look().connected else "",
        },
        shown,
    )
    result = _result(shown, cpu_s, began_s) | {"looks": looks}
    stop.set()
    for thread in threads:
        thread.join(60)
    pipe.send(result)


def _serve(pipe, status, delays):
    while (word := pipe.recv()) != "stop":
        if word == "begin":
            delays.readings.clear()
            delays.notices.clear()
        pipe.send(status())


def _result(delays, cpu_s, began_s):
    return {
        "readings": delays.readings, "notices": delays.notices, "first_s": delays.first_s, "last_s": delays.last_s,
        "cpu_s": delays.last_cpu_s - delays.first_cpu_s,
        "cores": (time.process_time() - cpu_s) / (time.monotonic() - began_s),
    }  # fmt: skip


def shares(values):
    """Median, 95th and 99th percentile, highest; milliseconds."""
    if len(values) < 2:
        return "none"
    cuts = statistics.quantiles(values, n=100)
    return "p50 {:.0f}, p95 {:.0f}, p99 {:.0f}, highest {:.0f} ms".format(
        *(1000 * v for v in (cuts[49], cuts[94], cuts[98], max(values)))
    )


def run_of_the_hall(folder, stations, seconds):
    broker = Mosquitto(folder / "broker").start()
    atexit.register(broker.stop)  # also where this ends early
    into = folder / "hall"
    collector = Part(collector_role, broker.broker(HALL), into, "one", 10.0)
    hall = Part(hall_role, broker.broker(HALL))
    for part in (collector, hall):
        until(lambda part=part: part.ask("how")["sentence"] == "collecting")
    real = max(1, stations // 10)
    crowd = Part(crowd_role, broker.broker(HALL), folder / "outboxes", stations - real, real, 1.0)
    until(lambda: hall.ask("how")["count"] > 3 * stations)
    for part in (collector, hall):
        part.ask("begin")
    broker_cpu = psutil.Process(broker._process.pid).cpu_times()
    began_s = time.monotonic()
    time.sleep(seconds)
    after = [part.ask("how") for part in (collector, hall)]
    took_s = time.monotonic() - began_s
    broker_after = psutil.Process(broker._process.pid).cpu_times()
    quiet_cores = (broker_after.user + broker_after.system - broker_cpu.user - broker_cpu.system) / took_s
    # From here on the broker is killed and comes back; delays from now on are those of an outage and not reported.
    broker.kill()
    time.sleep(3)
    broker.start()
    time.sleep(5)
    told = crowd.ask("quiet")["told"]
    ends_s = time.monotonic() + 60
    while time.monotonic() < ends_s and collector.ask("how")["distinct"] < 2 * told:
        time.sleep(0.2)
    results = [collector.end(), hall.end()]
    crowd_end = crowd.end()
    broker.stop()
    print(
        f"{stations} stations of {len(DISTRICTS)} districts, {real} of them with the station's own publisher and outbox; {took_s:.0f} s"
    )
    for name, result, last in zip(("collector", "page"), results, after, strict=True):
        print(
            f"  readings to the {name}: {shares(result['readings'][: last['count']])}; {last['count'] / took_s:.0f} messages a second"
        )
        print(f"  warnings and events to the {name}: {shares(result['notices'][: last['notices']])}")
    looks = results[1]["looks"]
    print(
        f"  a payload of the page: {1000 * statistics.median(t for t, _ in looks):.0f} ms of processor, {looks[-1][1] / 1e3:.0f} kB"
    )
    print(
        f"  cores: broker {quiet_cores:.2f}, collector {results[0]['cores']:.2f}, page {results[1]['cores']:.2f}, "
        f"stations {crowd_end['cores']:.2f}"
    )
    for table in ("warnings", "events"):
        kept = answer(into, f"SELECT count(DISTINCT (station, boot, id)) FROM {table}").rows[0][0]  # noqa: S608 - our own text
        print(f"  {table}: {told} told, {kept} kept, {told - kept} lost over a broker killed in mid-run")


def drained(folder, names):
    """How fast so many collectors take what waits for them."""
    broker = Mosquitto(folder / "broker").start()
    atexit.register(broker.stop)  # also where this ends early
    into = folder / "hall"
    for name in names:  # the broker then keeps a share for each
        part = Part(collector_role, broker.broker(HALL), into, name, 30.0)
        until(lambda part=part: part.ask("how")["sentence"] == "collecting")
        part.process.kill()
        part.process.join()
    confirmed = []
    sender = Connection(broker.broker(HALL), Session(client_id="sender"), lambda *_: confirmed.append(0))
    sender.connect()
    topics = [Address(hall=HALL, station=f"s{k}", kind="readings").topic for k in range(200)]
    for k in range(DRAINED):
        sender.publish(topics[k % 200], encode(readings(seq=k, first=k, districts=DISTRICTS)))
        if k % 100 == 0:
            until(lambda k=k: sender.wait(0.0) or len(confirmed) > k - 500)
    until(lambda: sender.wait(0.01) or len(confirmed) == DRAINED)
    sender.close()
    for name in names:
        os.utime(into / "spool" / f"{name}.seat")
    broker_cpu = psutil.Process(broker._process.pid).cpu_times()
    parts = [Part(collector_role, broker.broker(HALL), into, name, 30.0) for name in names]
    until(lambda: sum(part.ask("how")["count"] for part in parts) >= DRAINED)
    broker_after = psutil.Process(broker._process.pid).cpu_times()
    results = [part.end() for part in parts]
    broker.stop()
    took_s = max(result["last_s"] for result in results) - min(result["first_s"] for result in results)
    broker_us = 1e6 * (broker_after.user + broker_after.system - broker_cpu.user - broker_cpu.system) / DRAINED
    print(
        f"  {len(names)} collector(s): {DRAINED / took_s:.0f} messages a second "
        f"({', '.join(str(len(result['readings'])) for result in results)}); of processor a message: the broker {broker_us:.0f} us, "
        f"a collector {1e6 * sum(result['cpu_s'] for result in results) / DRAINED:.0f} us"
    )
    return DRAINED / took_s


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--stations", type=int, default=200)
    parser.add_argument("--part", choices=("hall", "drain", "both"), default="both")
    args = parser.parse_args()
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} before this began")
    if args.part != "drain":
        with tempfile.TemporaryDirectory() as folder:
            (Path(folder) / "outboxes").mkdir()
            run_of_the_hall(Path(folder), args.stations, args.seconds)
    if args.part != "hall":
        two_against_one()


def two_against_one():
    print(f"what collectors take when as much as they want waits for them ({DRAINED} messages of {len(DISTRICTS)} districts):")
    rates = []
    for names in (("one",), ("one", "two")):
        with tempfile.TemporaryDirectory() as folder:
            rates.append(drained(Path(folder), names))
    print(f"  two take {rates[1] / rates[0]:.2f} times what one takes")


if __name__ == "__main__":
    main()
