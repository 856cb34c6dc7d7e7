"""Stations and a real Mosquitto: what arrives, in which order, and what a broker that goes away costs."""

import json
import time

import numpy as np
import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from monitor.bus.connection import Connection, Session
from monitor.bus.grid import Grid
from monitor.bus.outbox import Outbox
from monitor.errors import BusError
from tests.bus.mosquitto import until
from tests.bus.stations import Listener, Station, block, raised, step


@pytest.fixture
def made():
    things = []
    yield lambda thing: things.append(thing) or thing
    for thing in reversed(things):
        thing.stop()


def ids(bodies):
    return [body.id for body in bodies]


def states(listener):
    return [presence.state for presence in listener.of("presence")]


def once(bodies):
    """What a receiver keeps: each message once, whatever was sent again."""
    return list({body.uid: body for body in bodies}.values())


def test_what_a_station_says_arrives(mosquitto, made):
    listener = made(Listener(mosquitto.broker(), "readings", "warnings", "events", "presence", "layout"))
    station = made(Station(mosquitto.broker()))
    for _ in range(40):
        station.read(volts=15.0, amps=2.0)
        time.sleep(0.03)
    station.tell(7)
    until(lambda: listener.of("events") and len(listener.of("readings")) >= 2)
    readings = listener.of("readings")[0]
    assert dict(zip(readings.districts, readings.volts, strict=True))["Outer main"] == (15.0,)
    assert ids(listener.of("warnings")) == ids(listener.of("events")) == [7]
    assert [district.name for district in listener.of("layout")[0].districts] == ["Outer main", "Town lights"]
    until(lambda: any(ids(presence.standing) == [7] for presence in listener.of("presence")))
    station.publisher.take(step(station.now_s(), warnings=(raised(7, 1.0, end_s=2.0),)))
    until(lambda: listener.of("presence")[-1].standing == ())


def test_single_figures_come_under_topics_of_their_own_described_and_expiring(mosquitto, made):
    got, base = {}, "pilotlamp/1/Hall/Fernhollow/figures"
    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)  # any program of somebody else's
    client.on_message = lambda _client, _data, message: got.__setitem__(message.topic.removeprefix(f"{base}/"), message)
    client.connect("127.0.0.1", mosquitto.port)
    client.subscribe(f"{base}/#")
    station = made(Station(mosquitto.broker(), single_figures=True))

    def came():
        station.read(volts=15.0, clipped=True)
        client.loop(0.05)
        return {"about", "district/Outer%20main/volts_rms", "district/Outer%20main/clipped"} <= set(got)

    until(came)
    client.disconnect()
    message = got["district/Outer%20main/volts_rms"]
    assert (message.payload, message.qos, message.retain) == (b"15.000", 0, False)
    assert got["district/Outer%20main/clipped"].payload == b"1.000"
    assert (message.properties.ContentType, message.properties.MessageExpiryInterval) == ("text/plain", 10)
    units = {row["topic"].removeprefix(f"{base}/"): (row["name"], row["unit"]) for row in json.loads(got["about"].payload)}
    assert units["district/Outer%20main/volts_rms"] == ("Outer main", "V")
    assert units["supply/North%20bench/va"] == ("North bench", "VA")
    assert set(got) <= {*units, "about"}


def test_who_vanishes_is_lost_and_who_leaves_is_gone(mosquitto, made):
    listener = made(Listener(mosquitto.broker(), "presence"))
    station = Station(mosquitto.broker())
    until(lambda: listener.of("presence"))
    station.publisher._connection.drop()
    until(lambda: "lost" in states(listener) and "here" in states(listener)[states(listener).index("lost") :])
    station.stop()
    until(lambda: listener.of("presence")[-1].state == "gone")


def test_without_a_broker_everything_waits_and_goes_out_in_order(mosquitto, made, tmp_path):
    listener = made(Listener(mosquitto.broker(), "warnings", "events", "readings"))
    mosquitto.stop()
    first = Station(mosquitto.broker(), path=tmp_path / "outbox.sqlite")
    for number in range(1, 21):
        first.tell(number)
        first.read()
        time.sleep(0.06)
    until(lambda: "waits" in first.publisher.sentence)
    first.stop()  # the station itself is switched off before the broker comes back
    mosquitto.start()
    until(listener.connected.is_set)
    made(Station(mosquitto.broker(), path=tmp_path / "outbox.sqlite"))
    until(lambda: len(once(listener.of("warnings"))) >= 20 and len(listener.of("readings")) >= 2)
    assert ids(once(listener.of("warnings"))) == list(range(1, 21))
    numbers = [body.first for body in once(listener.of("readings"))]
    assert numbers == sorted(set(numbers))


def test_where_nobody_collects_the_brokers_word_does_and_a_warning_that_nobody_takes_goes_on_waiting(
    mosquitto, made, monkeypatch
):
    monkeypatch.setattr("monitor.bus.publish.AGAIN_S", 1.0)
    monkeypatch.setattr("monitor.bus.publish.BROKER_KEEPS_S", 0.5)
    station = made(Station(mosquitto.broker()))
    until(lambda: station.publisher.connected)
    station.tell(1)
    until(lambda: len(station.publisher._sent_s) == 2 and not station.publisher._underway)
    assert station.outbox.waiting_count == 2
    listener = made(Listener(mosquitto.broker(), "warnings", "events"))
    until(lambda: listener.of("warnings") and listener.of("events"))
    until(lambda: station.outbox.waiting_count == 0)


def test_no_acknowledgement_takes_what_was_never_sent(tmp_path):
    """Whoever says it: a range of everything, of another start, or the same again."""
    outbox = Outbox(tmp_path / "o.sqlite")
    for seq in range(6):
        outbox.put("t/readings", b"r", notice=False, name=("a" * 16, seq))
    everything = [("a" * 16, 0, 2**53 - 1), ("b" * 16, 0, 2**53 - 1)]
    assert outbox.acknowledge(everything, {1: 0.0, 3: 0.0}, 0.0) == [1, 3]
    assert outbox.acknowledge(everything * 2, {1: 0.0, 3: 0.0}, 0.0) == []
    assert outbox.ids() == {2, 4, 5, 6}
    assert outbox.waiting_count == 4
    outbox.close()


def test_a_full_outbox_thins_old_readings_and_keeps_every_notice():
    outbox = Outbox(None, limit_bytes=60_000)
    for number in range(600):
        outbox.put("t/readings", b"%6d" % number + b"r" * 94, notice=False)
        if number % 10 == 0:
            outbox.put("t/warnings", b"%6d" % number + b"w" * 94, notice=True)
    notices = [int(body.payload[:6]) for body in outbox.waiting(notice=True, after=0, most=1000)]
    assert notices == list(range(0, 600, 10))
    kept = [int(body.payload[:6]) for body in outbox.waiting(notice=False, after=0, most=1000)]
    assert kept[-1] == 599
    assert outbox.thinned == 600 - len(kept) > 0
    assert outbox.waiting_count == len(notices) + len(kept)
    assert outbox.lost == 0
    # Older ones are sparser: the gaps of the first half are wider than those of the second.
    gaps = np.diff(kept)
    assert gaps[: len(gaps) // 2].mean() > 1.5 * gaps[len(gaps) // 2 :].mean()


def test_only_when_no_reading_is_left_the_oldest_notice_goes_and_it_is_counted():
    outbox = Outbox(None, limit_bytes=10_000)
    for number in range(100):
        outbox.put("t/events", b"%6d" % number + b"e" * 94, notice=True)
    kept = [int(body.payload[:6]) for body in outbox.waiting(notice=True, after=0, most=1000)]
    assert kept == list(range(100 - len(kept), 100))
    assert outbox.lost == 100 - len(kept) > 0


def test_a_full_disk_is_said_and_what_it_refused_is_tried_again(mosquitto, made, monkeypatch, tmp_path):
    listener = made(Listener(mosquitto.broker(), "warnings", "events"))
    station = made(Station(mosquitto.broker(), path=tmp_path / "outbox.sqlite"))
    until(lambda: station.publisher.connected)
    put = Outbox.put

    def refuse(self, topic, payload, **_more):
        raise BusError("what is to be sent cannot be kept in x (database or disk is full): make room on that disk")

    monkeypatch.setattr(Outbox, "put", refuse)
    station.tell(3)
    until(lambda: any("make room" in sentence for sentence in station.publisher.troubles()))
    monkeypatch.setattr(Outbox, "put", put)
    until(lambda: ids(once(listener.of("warnings")))[-1:] == ids(once(listener.of("events")))[-1:] == [3])
    until(lambda: station.publisher.troubles() == ())


def test_a_disk_that_refuses_leaves_the_outbox_as_it_was(tmp_path):
    outbox = Outbox(tmp_path / "o.sqlite")
    outbox.put("t/events", b"e", notice=True)
    # SQLite's own limit on pages stands for a full disk: the same error, SQLITE_FULL.
    outbox._file.execute(f"PRAGMA max_page_count = {outbox._file.execute('PRAGMA page_count').fetchone()[0]}")
    with pytest.raises(BusError, match="make room"):
        outbox.put("t/events", b"e" * 400_000, notice=True)
    assert outbox.waiting_count == len(outbox.waiting(notice=True, after=0, most=1000)) == 1
    outbox.close()


def test_losses_are_remembered_over_a_restart_and_two_watches_do_not_share_a_file(tmp_path):
    path = tmp_path / "o.sqlite"
    outbox = Outbox(path, limit_bytes=5_000)
    for _ in range(100):
        outbox.put("t/readings", b"r" * 100, notice=False)
    with pytest.raises(BusError, match="another watch"):
        Outbox(path)
    thinned, waiting = outbox.thinned, outbox.waiting_count
    outbox.close()
    again = Outbox(path)
    assert (again.thinned, again.waiting_count) == (thinned, waiting)


def test_the_grid_gives_the_rms_of_each_half_second():
    grid, rng = Grid(), np.random.default_rng(5)
    volts = rng.uniform(5, 20, 100)
    for k, value in enumerate(volts):
        grid.add(block(0.005 + 0.01 * (k + 1), value, 1.0, rows=1))
    (row,) = grid.close(0.8)
    # The root of the mean of squares, as IEC 61000-4-30 section 4 aggregates.
    assert row.volts[0] == pytest.approx(np.sqrt(np.mean(volts[:49] ** 2)))
    assert (row.number, row.districts) == (0, ("Outer main", "Town lights"))
    assert [later.number for later in grid.close(2.0)] == [1, 2]


def test_a_broker_that_is_away_is_one_sentence(mosquitto):
    mosquitto.stop()
    with pytest.raises(BusError, match="cannot be reached"):
        Connection(mosquitto.broker(), Session(client_id="x")).connect()
