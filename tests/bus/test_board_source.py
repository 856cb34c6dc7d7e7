"""A board on the network: its lines over a real Mosquitto, taken in by a whole watch."""

import pytest

from monitor.app import Watch, with_ports
from monitor.bus.board_source import BoardSource
from monitor.bus.connection import Connection, Session
from monitor.errors import LinkUnavailableError
from tests.bus.mosquitto import until
from tests.runtime.streams import plain_layout


class NetworkBoard:
    """Publishes readings of two outputs, as a small board does."""

    def __init__(self, broker):
        self._broker, self._connection, self._lines = broker, None, 0

    def say(self):
        if self._connection is None:
            self._connection = Connection(self._broker, Session(client_id="board"))
            self._connection.connect()
        k, self._lines = self._lines, self._lines + 1
        lines = b"b,bench-1,2,50\n" * (k % 20 == 0) + b"r,%d,0,15.00,3.00\nr,%d,1,12.00,1.00" % (50 * k, 50 * k)
        self._connection.publish("pilotlamp/1/Hall/bench-1/lines", lines)
        self._connection.wait(0.05)

    def leave(self):
        self._connection.drop()
        self._connection = None


def test_a_board_on_the_network_is_watched_like_any_other(mosquitto):
    board = NetworkBoard(mosquitto.broker())
    watch = Watch(with_ports(plain_layout(), {"bench-1": f"{mosquitto.url}/bench-1"}))
    watch.start()

    def shown(volts):
        board.say()
        districts = {district.name: district for district in watch.live.picture().districts}
        outer = districts["Outer main"]
        return not outer.is_stale and outer.volts_rms == pytest.approx(volts)

    try:
        until(lambda: shown(15.0))
        # The broker goes and comes back: the port is lost and found again by itself.
        board.leave()
        mosquitto.stop()
        until(lambda: watch.statuses()[0].state == "lost")
        until(lambda: next(d for d in watch.live.picture().districts if d.name == "Outer main").is_stale)
        mosquitto.start()
        until(lambda: shown(15.0))
        board.leave()
    finally:
        watch.stop()


def test_what_lay_at_the_broker_is_not_live(mosquitto):
    confirmed = []
    board = Connection(mosquitto.broker(), Session(client_id="board"), lambda *outcome: confirmed.append(outcome))
    board.connect()
    board.publish("pilotlamp/1/Hall/bench-1/lines", b"r,1,0,99.0,1.0\n", retain=True)
    until(lambda: board.wait(0.01) or confirmed)
    source = BoardSource(f"{mosquitto.url}/bench-1", lambda: 0.0)
    source.open()
    board.publish("pilotlamp/1/Hall/bench-1/lines", b"r,2,0,15.0,1.0")

    def read():
        board.wait(0.01)
        return source.read().data

    assert until(read) == b"r,2,0,15.0,1.0\n"
    source.close()
    board.close()


@pytest.mark.parametrize(
    ("port", "said"), [("{url}", "HALL/BOARD"), ("mqtt://127.0.0.1:1/Hall/b", "reached"), ("mqtt:///x", "mqtts")]
)
def test_an_address_that_leads_nowhere_is_one_sentence(mosquitto, port, said):
    with pytest.raises(LinkUnavailableError, match=said):
        BoardSource(port.format(url=mosquitto.url), lambda: 0.0).open()
