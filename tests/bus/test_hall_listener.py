"""The hall's listener with a real Mosquitto: what stations publish is what is looked at."""

import threading
import time

import pytest

from monitor.bus.connection import Connection, Session
from monitor.bus.hall_listener import HallListener
from tests.bus.mosquitto import until
from tests.bus.stations import Station


@pytest.fixture
def hall(mosquitto):
    watch, stop = HallListener(mosquitto.broker(), unix_now=lambda: time.time_ns() / 1e9), threading.Event()
    thread = threading.Thread(target=watch.work, args=(stop,))
    thread.start()
    yield watch
    stop.set()
    thread.join(60)


def test_stations_and_boards_of_a_hall_are_seen_and_a_broker_that_leaves_is_said(mosquitto, hall):
    until(lambda: hall.look().connected)
    station = Station(mosquitto.broker())
    board = Connection(mosquitto.broker(), Session(client_id="board"))
    board.connect()
    board.publish("pilotlamp/1/Hall/bench-2/lines", b"r,1,0,14.0,1.5\n")
    board.publish("pilotlamp/1/Hall/bench-2/readings", b"no JSON")
    station.tell(1)

    def seen():
        board.wait(0.01)
        station.read(volts=15.0)
        picture = hall.look("Hall", "Fernhollow")
        return picture.stations and picture.stations[0].warnings and picture.stations[0].age_s is not None and hall.look()

    picture = until(seen)
    until(lambda: len(hall.look().stations) == 2 and hall.look().faults == {"form": 1})
    board.close()
    assert picture.stations[0].name == "Fernhollow"
    assert [district.name for district in picture.stations[0].districts] == ["Outer main", "Town lights"]
    assert {district.volts for district in picture.stations[0].districts} == {15.0}
    assert hall.look("Hall", "bench-2").stations[0].districts[0].amps == 1.5
    assert hall.look("Hall", "nobody").stations == ()
    station.stop()
    until(lambda: hall.look("Hall", "Fernhollow").stations[0].state == "gone")
    mosquitto.stop()
    until(lambda: not hall.look().connected)
    assert "cannot be reached" in until(lambda: hall.look().sentence)
    mosquitto.start()
    until(lambda: hall.look().connected)
    assert hall.look().sentence == ""
