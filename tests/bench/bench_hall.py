"""The hall with a real Mosquitto: delay, load, a broker killed in mid-run, and outages of all kinds.

    python -m tests.bench.bench_hall [--seconds 20] [--stations 200] [--part hall|outages]

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
from monitor.bus.collect import Collector, CollectorOptions
from monitor.bus.hall_listener import HallListener
from monitor.bus.payloads import GRID_S, Readings
from tests.bench.hall_crowd import DISTRICTS, HALL, crowd_role, unix_now
from tests.bus.mosquitto import Mosquitto, until
from tests.bus.stations import CountedStation, kept_names

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


def collector_role(pipe, broker, into, name, every_s, adopt_after_s=120.0):
    delays = Delays()
    options = CollectorOptions(into=into, name=name, every_s=every_s, adopt_after_s=adopt_after_s)
    collector = Collector(broker, options, unix_now=unix_now, seen=delays.take)
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


def fed(stations, seconds, number=None):
    """Readings of all stations for so long; first a warning and an event of each where a number is given."""
    for station in stations if number is not None else ():
        station.tell(number)
    ends_s = time.monotonic() + seconds
    while time.monotonic() < ends_s:
        for station in stations:
            station.read()
        time.sleep(0.1)


def outages(folder, restarts=20, stations=6, kills=3):
    """Is every row kept, whatever ends the broker and the collectors?"""
    broker = Mosquitto(folder / "broker").start()
    atexit.register(broker.stop)  # also where this ends early
    into, names = folder / "hall", iter("abcdefgh")

    def collector():
        part = Part(collector_role, broker.broker(HALL), into, next(names), 10.0, 8.0)
        until(lambda: part.ask("how")["sentence"] == "collecting")
        return part

    parts = [collector(), collector()]
    shown = [CountedStation(broker.broker(HALL), f"Station {k}") for k in range(stations)]

    fed(shown, 3.0)
    for number in range(restarts):
        (broker.kill, broker.stop)[number % 2]()
        fed(shown, 1.0, number)
        broker.start()
        if number in range(2, 2 + 6 * kills, 6):
            parts[0].process.kill()
            parts = [parts[1], collector()]
        fed(shown, 2.0)
    until(lambda: not any(station.outbox.waiting_count for station in shown), 180)
    time.sleep(12.0)  # until what the dead left is taken over
    for station in shown:
        station.stop()
    for part in parts:
        part.end()
    broker.stop()
    put, kept = set().union(*(station.put for station in shown)), kept_names(into)
    rows = answer(
        into, "SELECT count(*), count(DISTINCT (boot, seq)) FROM readings_as_written WHERE district = 'Outer main'"
    ).rows[0]
    print(
        f"{stations} stations, {restarts} restarts of the broker (killed and in order by turns), {kills} collectors killed: {len(put)} "
        f"messages made, {len(put - kept)} missing, {len(kept - put)} of nobody; {rows[0] - rows[1]} of {rows[1]} rows of readings were "
        "written twice, which reading counts once"
    )


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--stations", type=int, default=200)
    parser.add_argument("--part", choices=("hall", "outages", "both"), default="both")
    args = parser.parse_args()
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} before this began")
    if args.part != "outages":
        with tempfile.TemporaryDirectory() as folder:
            (Path(folder) / "outboxes").mkdir()
            run_of_the_hall(Path(folder), args.stations, args.seconds)
    if args.part != "hall":
        with tempfile.TemporaryDirectory() as folder:
            outages(Path(folder))


if __name__ == "__main__":
    main()
