"""Collectors with a real Mosquitto: shares, take-over, tables, and questions answered from known messages."""

import json
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import duckdb
import pytest

from monitor.bus import answers, spool
from monitor.bus.answers import QUESTIONS, Range, answer
from monitor.bus.broker import Address
from monitor.bus.collect import Collector, CollectorOptions
from monitor.bus.connection import Connection, Session
from monitor.bus.payloads import Received, encode
from monitor.bus.spool import KeptNames, ParquetWriter, Spool, messages
from monitor.bus.tables import PARTS_LIMIT, Tables, sort_into
from monitor.cli.main import main
from monitor.errors import BusError
from tests.bus.bodies import BEGAN, event, readings, warning
from tests.bus.mosquitto import until
from tests.bus.stations import CountedStation, kept_names

ROOT = Path(__file__).parents[2]


def received(body, kind="readings", hall="Hall 2", station="Fernhollow"):
    return Received(address=Address(hall=hall, station=station, kind=kind), body=body)


def unix_now():
    return BEGAN + 100


def write(tables, *told):
    rows = {}
    for each in told:
        sort_into(rows, each, unix_now())
    while rows:
        tables.write_one(rows)


class Sender:
    """One client that speaks for many stations."""

    def __init__(self, broker):
        self._connection = Connection(broker, Session(client_id="sender"), lambda *_: self._count())
        self._connection.connect()
        self.confirmed = self.sent = 0

    def send(self, kind, body, station="Fernhollow"):
        topic = Address(hall="Hall", station=station, kind=kind).topic
        self._connection.publish(topic, encode(body))
        self.sent += 1
        self._connection.wait(0.0)

    def settle(self):
        def settled():
            self._connection.wait(0.02)
            return self.confirmed == self.sent

        until(settled)

    def stop(self):
        self._connection.close()

    def _count(self):
        self.confirmed += 1


class InThread:
    def __init__(self, broker, into, name, **more):
        self.collector = Collector(broker, CollectorOptions(into=into, name=name, every_s=0.3, **more), unix_now=unix_now)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self.collector.work, args=(self._stop,))
        self._thread.start()
        until(lambda: self.collector.sentence == "collecting")

    def stop(self):
        self._stop.set()
        self._thread.join(60)


def numbers(folder, table="readings", column="seq"):
    """Each once, as reading takes them."""
    return [value for (value,) in answer(folder, f"SELECT {column} FROM {table} ORDER BY {column}").rows]  # noqa: S608 - our own text


def test_two_collectors_share_and_nothing_is_kept_twice_or_lost(mosquitto, tmp_path):
    one, two = (InThread(mosquitto.broker(), tmp_path, name) for name in ("one", "two"))
    sender = Sender(mosquitto.broker())
    for k in range(200):
        sender.send("readings", readings(seq=k, first=k, districts=("Outer main",)), station=f"station {k % 5}")
    sender.send("warnings", warning(seq=900))
    sender.settle()
    until(lambda: one.collector.counts["readings"] + two.collector.counts["readings"] >= 200)
    until(lambda: one.collector.counts["warnings"] + two.collector.counts["warnings"])
    sender.stop()
    for each in (one, two):
        each.stop()
    assert min(one.collector.counts["readings"], two.collector.counts["readings"]) > 50
    assert numbers(tmp_path) == list(range(200))
    assert numbers(tmp_path, "warnings") == [900]
    assert not list((tmp_path / "spool").glob("*.spool"))


def program(broker, into, *more):
    command = [sys.executable, "-m", "monitor", "collect", "--broker", broker.url, "--into", into, *more]
    started = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": "."})
    until(lambda: started.stdout.readline().startswith("collecting"))
    return started


def test_everything_is_kept_whatever_ends_the_broker_and_the_collectors(mosquitto, tmp_path, monkeypatch):
    """Also what a broker confirmed and lost: it keeps nothing for those who share a subscription and are not back yet."""
    monkeypatch.setattr("monitor.bus.publish.AGAIN_S", 2.0)
    into = tmp_path / "t"
    victim = program(mosquitto, into, "--name", "victim", "--every", "600")
    other = InThread(mosquitto.broker(), into, "other", adopt_after_s=6.0)
    stations = [CountedStation(mosquitto.broker(), f"station {k}") for k in range(2)]
    acts = {
        10: lambda: victim.send_signal(signal.SIGSTOP),  # in mid-stream: some is on the way to it
        20: mosquitto.kill, 35: mosquitto.start, 60: victim.kill, 70: mosquitto.stop, 85: mosquitto.start,
    }  # fmt: skip
    for number in range(1, 101):
        acts.get(number, int)()
        for station in stations:
            station.read()
            if number % 10 == 0:
                station.tell(number)
        time.sleep(0.04)
    victim.wait(60)
    victim.stdout.close()
    until(lambda: all(station.put and not station.outbox.waiting_count for station in stations))
    until(lambda: other.collector.counts["taken over"] >= 1)
    for station in stations:
        station.stop()
    other.stop()
    assert kept_names(into) == set().union(*(station.put for station in stations))
    assert list((into / "spool").iterdir()) == []


def test_a_collector_that_stood_still_acknowledges_nothing_that_another_took_over(tmp_path):
    slow, quick = Spool(tmp_path, "slow"), Spool(tmp_path, "quick")
    slow.add(received(readings(seq=1)))
    (taken,) = quick.adopt(0.0, "slow")
    assert [found.body.seq for found in messages(taken)] == [1]
    taken.unlink()
    slow.add(received(readings(seq=2)))  # its old file is gone: it has to be in a new one
    slow.close()
    (ours,) = quick.adopt(0.0, "slow")
    assert [found.body.seq for found in messages(ours)] == [2]
    assert list(quick.adopt(60.0, "*")) == []
    quick.close()


def test_what_no_station_may_say_is_counted_and_dropped(mosquitto, tmp_path):
    collecting = InThread(mosquitto.broker(), tmp_path, "one")
    stranger = Connection(mosquitto.broker(), Session(client_id="stranger"))
    stranger.connect()
    for payload in (b"", b"\xff", b"[" * 50_000, encode(event()), b'{"v":1}'):
        stranger.publish("pilotlamp/1/Hall/x/readings", payload)
    stranger.publish("pilotlamp/1/Hall/%2e%2e/readings", encode(readings()))
    for _ in range(20):
        stranger.wait(0.02)
    until(lambda: collecting.collector.counts["fault: form"] >= 5 and collecting.collector.counts["fault: topic"] >= 1)
    stranger.close()
    collecting.stop()
    assert not (tmp_path / "readings").exists()


def test_a_message_that_comes_again_is_kept_once_however_it_comes(tmp_path):
    """To the same collector, before and after its rows are written; and out of the spool of one that died."""
    dead, keep = Spool(tmp_path, "dead"), ParquetWriter(tmp_path, "one", unix_now)
    for seq in (5, 3, 4, 9):
        dead.add(received(readings(seq=seq, first=seq, districts=("Outer main",))))
    for seq in (2, 4, 3, 7, 2, 3, 4, 7, 6, 8, 7):
        keep.take(received(readings(seq=seq, first=seq, districts=("Outer main",))))
        keep.turn()
        keep.step()
    assert keep.adopt(0.0, "dead") == 1
    dead.close()
    keep.take(received(readings(seq=2, first=2, districts=("Outer main",)), station="Mill"))
    keep.finish()
    rows = answer(tmp_path, "SELECT seq FROM readings_as_written WHERE station = 'Fernhollow' ORDER BY seq").rows
    assert [seq for (seq,) in rows] == [2, 3, 4, 5, 6, 7, 8, 9]
    assert answer(tmp_path, "SELECT count(*) FROM readings_as_written").rows[0][0] == 9


def test_only_so_many_starts_of_stations_are_remembered(monkeypatch):
    monkeypatch.setattr(spool, "STARTS_LIMIT", 3)
    names, told = KeptNames(), [received(readings(seq=1), station=f"s{k}") for k in range(5)]
    for each in told:
        names.add(each)
    assert [each in names for each in told] == [False, False, True, True, True]


def test_files_are_by_hall_day_and_station_and_many_small_ones_become_one(tmp_path):
    tables = Tables(tmp_path, "one")
    for k in range(PARTS_LIMIT + 1):
        write(tables, received(readings(seq=k, first=k, districts=("Outer main",)), station="../Town #2"))
    (folder,) = (tmp_path / "readings").glob("*/*/*")
    assert folder.relative_to(tmp_path / "readings") == Path("hall=Hall%202/day=2025-11-25/station=..%2FTown%20%232")
    assert len(list(folder.glob("*.parquet"))) == 2
    assert numbers(tmp_path) == list(range(PARTS_LIMIT + 1))
    (row,) = answer(tmp_path, "SELECT DISTINCT hall, station FROM readings").rows
    assert row == ("Hall 2", "../Town #2")


def test_a_clock_that_cannot_be_right_does_not_make_folders(tmp_path):
    write(Tables(tmp_path, "one"), received(readings(first=2**52)))
    assert [folder.name for folder in (tmp_path / "readings").glob("*/*")] == ["day=2025-11-25"]


def test_a_spool_cut_off_in_mid_line_gives_what_is_whole(tmp_path):
    dead = Spool(tmp_path, "dead")
    for k in range(3):
        dead.add(received(readings(seq=k)))
    (path,) = (tmp_path / "spool").iterdir()
    path.write_bytes(path.read_bytes()[:-40])
    living = Spool(tmp_path, "living")
    (ours,) = living.adopt(0.0, "dead")
    assert [found.body.seq for found in messages(ours)] == [0, 1]
    dead.close()
    living.close()


def test_a_folder_that_cannot_be_written_to_loses_nothing(tmp_path, monkeypatch):
    keep = ParquetWriter(tmp_path, "one", unix_now)
    for k in range(3):
        keep.take(received(readings(seq=k, first=k, districts=("Outer main",)), station=f"s{k}"))
    keep.turn()
    keep.step()

    def full(*_args, **_more):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("monitor.bus.tables.pq.write_table", full)
        with pytest.raises(OSError, match="No space"):
            keep.step()
    # Should it die now, whoever takes over has all of it; and it goes on by itself.
    (spool,) = (path for path in (tmp_path / "spool").glob("*.spool") if path.stat().st_size)
    assert [found.body.seq for found in messages(spool)] == [0, 1, 2]
    keep.finish()
    assert numbers(tmp_path) == [0, 1, 2]
    assert not list((tmp_path / "spool").glob("*.spool"))


@pytest.fixture
def kept(tmp_path):
    """Two stations, one hour of the first: 7200 rows would be slow, so 720 rows in messages of 240 are six minutes."""
    told = []
    for part in range(3):
        told += [received(readings(seq=part, first=240 * part, rows=240, share=0.5 + 0.2 * part, amps=2.0))] * 2  # came twice
    told.append(received(readings(seq=1, share=0.4), station="Mill"))
    for number, cause in ((1, "lost-contact"), (2, "lost-contact"), (3, "short")):
        for seq, end_s in ((10 * number, None), (10 * number + 1, 12.0)):
            happened = event(seq=seq, number=number, cause=cause, district="Outer main", end_s=end_s)
            told.append(received(happened, "events"))
    told += [received(warning(seq=50), "warnings"), received(warning(seq=51, end_s=130.0), "warnings")]
    for collector in ("one", "two"):  # between them, a broker that starts again lets both write the same
        write(Tables(tmp_path, collector), *told)
    return tmp_path


def asked(folder, question, **more):
    found = answer(folder, question, Range(**more))
    return [dict(zip(found.columns, row, strict=True)) for row in found.rows]


def test_the_usual_questions_have_the_answers_that_the_messages_give(kept):
    closest = asked(kept, "closest")
    assert [(row["station"], row["percent_of_limit"]) for row in closest] == [("Fernhollow", 90.0), ("Mill", 40.0)]
    stalls = asked(kept, "stalls")
    # 720 rows of half a second are 0.1 h: two in it are twenty an hour.
    assert [(row["cause"], row["stalls"], row["an_hour"]) for row in stalls] == [("lost-contact", 2, 20.0), ("short", 1, 10.0)]
    assert asked(kept, "warnings") == [
        {"hall": "Hall 2", "station": "Fernhollow", "name": "North bench", "rule": "trip-forecast", "priority": "high",
         "warnings": 1, "minutes_standing": 2.0}
    ]  # fmt: skip
    draw = next(row for row in asked(kept, "draw") if (row["station"], row["district"]) == ("Fernhollow", "Outer main"))
    # 15 V x 2 A over six minutes.
    assert (draw["amps_mean"], draw["amps_highest"], draw["va_h"]) == (2.0, 2.5, pytest.approx(3.0))
    (day,) = asked(kept, "days")
    assert (day["day"], day["stations"], day["stalls"], day["warnings"]) == ("2025-11-25", 2, 3, 1)
    assert asked(kept, "closest", hall="elsewhere") == asked(kept, "closest", since="2025-11-26") == []
    assert len(asked(kept, "closest", hall="Hall 2", until="2025-11-25")) == 2


def test_questions_on_the_command_line(kept, capsys):
    for question in QUESTIONS:
        assert main(["ask", str(kept), question]) == 0
    out = capsys.readouterr().out
    assert all(words in out for words in ("lost-contact", "90 %", "2.5 A", "3 VAh", "2 min"))
    assert main(["ask", str(kept), "--sql", "SELECT max(volts), count(volts), any_value(0.1::FLOAT) AS share FROM readings"]) == 0
    assert capsys.readouterr().out.splitlines()[1].split("  ")[0] == "15 V"
    assert main(["ask", str(kept), "--sql", "SELECT 43.8::FLOAT AS amps", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"amps": 43.8}
    assert main(["ask", str(kept), "closest", "--json"]) == 0
    assert json.loads(capsys.readouterr().out.splitlines()[0])["supply"] == "North bench"


def test_files_that_become_one_while_somebody_asks_are_asked_again(kept, monkeypatch):
    asked_once, tries = answers._asked_once, []

    def gone_at_first(*args):
        tries.append(args)
        if len(tries) < 3:
            raise duckdb.IOException("IO Error: Cannot open file: No such file or directory")
        return asked_once(*args)

    monkeypatch.setattr(answers, "_asked_once", gone_at_first)
    assert len(asked(kept, "closest")) == 2


def test_what_cannot_be_asked_is_one_line(kept, tmp_path, capsys):
    with pytest.raises(BusError, match="pilotlamp collect"):
        answer(tmp_path / "nothing", "closest")
    odd = kept.rename(kept.with_name(os.fsdecode(b"na\xffme")))
    with pytest.raises(BusError, match="UTF-8 text: rename it"):
        answer(odd, "closest")
    write(Tables(odd, "one"), received(readings(seq=1)))  # collectors do go on there
    odd.rename(kept)
    assert main(["ask", str(kept), "--sql", "SELECT nonsense"]) == 2
    assert capsys.readouterr().err.count("\n") == 1
