"""A board on the network as a port: the lines that it publishes to the broker, for a station that takes it in."""

import time
from collections.abc import Callable

from monitor.bus.broker import Address, parse_broker
from monitor.bus.connection import Connection, Session
from monitor.bus.payloads import PAYLOAD_LIMIT_BYTES
from monitor.errors import BusError, LinkLostError, LinkUnavailableError
from monitor.values import Chunk

ROUND_S = 0.035
"""About as often as a serial port is read."""


class BoardSource:
    """Reads one board's lines and never writes to it.

    Args:
        port: ``mqtts://HOST/HALL/BOARD``.
        now_s: Stamps the chunks.
    """

    def __init__(self, port: str, now_s: Callable[[], float]) -> None:
        self.port = port
        self._now_s = now_s
        self._connection: Connection | None = None
        self._came: list[bytes] = []

    def open(self) -> None:
        """Connect and subscribe.

        Raises:
            LinkUnavailableError: The address cannot be used, or the broker is away or refuses us.
        """
        self.close()
        try:
            broker = parse_broker(self.port)
            if not (broker.hall and broker.board):
                raise LinkUnavailableError(
                    f"the address of a board on the network names hall and board: mqtts://{broker.place}/HALL/BOARD",
                    port=self.port,
                )
            topic = Address(hall=broker.hall, station=broker.board, kind="lines").topic
            connection = Connection(broker, Session(client_id="", filters=(topic,), on_message=self._take))
            self._connection = connection
            connection.connect()
        except BusError as error:
            self.close()
            raise LinkUnavailableError(str(error), port=self.port) from error
        if connection.trouble:
            self.close()
            raise LinkUnavailableError(connection.trouble, port=self.port)

    def read(self) -> Chunk:
        """What came since the last read, after a short pause; empty where nothing came.

        Raises:
            LinkLostError: The broker went away.
        """
        if self._connection is None:
            raise LinkLostError("the connection to the broker is closed; it is made again", port=self.port)
        ends_s = time.monotonic() + ROUND_S
        try:
            while (left_s := ends_s - time.monotonic()) > 0:
                self._connection.wait(left_s)
        except BusError as error:
            raise LinkLostError(str(error), port=self.port) from error
        data, self._came = b"".join(self._came), []
        return Chunk(data=data, received_s=self._now_s())

    def set_baud(self, baud: int) -> None:
        """Means nothing here."""

    def close(self) -> None:
        """Disconnect, if connected; never raises."""
        connection, self._connection = self._connection, None
        self._came = []
        if connection is not None:
            connection.close()

    def _take(self, _topic: str, payload: bytes, retained: bool) -> None:  # noqa: FBT001 - the connection's own form
        if retained or len(payload) > PAYLOAD_LIMIT_BYTES:
            return  # a retained line has no known time
        self._came.append(payload if payload.endswith(b"\n") else payload + b"\n")
