"""One connection to a broker, from connect to loss; nothing of it outlives it, so that only our own outbox ever sends again."""

import contextlib
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from monitor.bus.broker import Broker
from monitor.errors import BusError

CONNECT_WITHIN_S = 4.0
KEEP_ALIVE_S = 15
NO_MATCHING_SUBSCRIBERS = 0x10
"""MQTT 5, 3.4.2.1: the broker took it, and there was no subscriber."""
MOST_PACKET_BYTES = 1 << 18
RECEIVE_LIMIT = 1000
"""Messages that may be on their way to us unconfirmed."""


class Outcome(Enum):
    """What the broker said of a message."""

    TAKEN = "taken"
    NO_SUBSCRIBER = "no subscriber"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True, kw_only=True)
class Will:
    """What the broker says for us should we vanish: a retained message.

    Attributes:
        topic: Where.
    """

    topic: str
    payload: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """What we are to the broker.

    Attributes:
        client_id: Our name; a second client of the same name pushes the first one out.
        on_message: Takes (topic, payload, retained); a topic that is no UTF-8 comes as "".
    """

    client_id: str
    will: Will | None = None
    filters: Sequence[str] = ()
    on_message: Callable[[str, bytes, bool], None] | None = None


class Connection:
    """One connection; single-threaded: everything happens within :meth:`connect`, :meth:`wait` and :meth:`publish`.

    Args:
        broker: Where to.
        session: What we are there.
        on_confirmed: Takes (message number, outcome) of what was published.

    Attributes:
        trouble: What the broker refused of the filters; empty where nothing.
    """

    def __init__(self, broker: Broker, session: Session, on_confirmed: Callable[[int, Outcome], None] | None = None) -> None:
        self._broker = broker
        self._session = session
        self._on_confirmed = on_confirmed
        self._refusal: str | None = None
        self._accepted = False
        self._subscribed = not session.filters
        self.trouble = ""
        self._client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=session.client_id,
            protocol=MQTTProtocolVersion.MQTTv5,
            reconnect_on_failure=False,
        )
        self._set_up()

    def connect(self) -> None:
        """Connect and subscribe.

        Raises:
            BusError: The broker is away, refuses us, or does not answer.
        """
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # the library leaves it untyped
        properties.ReceiveMaximum = RECEIVE_LIMIT
        properties.MaximumPacketSize = MOST_PACKET_BYTES
        try:
            self._client.connect(
                self._broker.host,
                self._broker.port,
                keepalive=KEEP_ALIVE_S,
                clean_start=True,
                properties=properties,
            )
        except (OSError, ValueError) as error:
            raise BusError(
                f"the broker at {self._broker.place} cannot be reached ({getattr(error, 'strerror', None) or error}): "
                "see that it runs and that this computer is on its network"
            ) from error
        ends_s = time.monotonic() + CONNECT_WITHIN_S
        while not (self._accepted and self._subscribed):
            self._check(self._client.loop(0.1))
            if time.monotonic() > ends_s:
                raise BusError(f"what answers at {self._broker.place} is no MQTT 5 broker, or it is overloaded")

    def publish(self, topic: str, payload: bytes, *, retain: bool = False, expires_s: int | None = None) -> int:
        """Send: QoS 1 and JSON; QoS 0 and plain text where it expires.

        Returns:
            The message's number, which comes again when the broker has confirmed it.

        Raises:
            BusError: The connection is lost.
        """
        properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]  # the library leaves it untyped
        properties.ContentType = "application/json" if expires_s is None else "text/plain"
        if expires_s is not None:
            properties.MessageExpiryInterval = expires_s
        info = self._client.publish(topic, payload, qos=1 if expires_s is None else 0, retain=retain, properties=properties)
        if info.rc not in (MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_QUEUE_SIZE):
            self._check(info.rc)
        return info.mid

    def wait(self, seconds: float) -> None:
        """Let things come and go for so long, or until the first of them.

        Raises:
            BusError: The connection is lost.
        """
        self._check(self._client.loop(seconds))

    def drop(self) -> None:
        """Let go without a word: the broker speaks our last will."""
        sock = self._client.socket()
        if sock is not None:
            with contextlib.suppress(OSError):
                sock.close()

    def close(self) -> None:
        """Say goodbye: no last will is spoken. Never raises."""
        with contextlib.suppress(OSError, ValueError):
            self._client.disconnect()
            self._client.loop(0.1)
        self.drop()

    def _set_up(self) -> None:
        client, broker, session = self._client, self._broker, self._session
        client.connect_timeout = CONNECT_WITHIN_S
        client.max_inflight_messages_set(1000)
        if broker.user is not None:
            client.username_pw_set(broker.user, broker.password)
        if broker.tls:
            client.tls_set_context(broker.context())
        if session.will is not None:
            client.will_set(session.will.topic, session.will.payload, qos=1, retain=True)
        client.on_connect = self._connected
        client.on_subscribe = self._subscribed_to
        client.on_publish = self._published
        client.on_message = self._came

    def _connected(
        self, client: Client, _data: object, _flags: ConnectFlags, reason: ReasonCode, _more: Properties | None
    ) -> None:
        if reason.is_failure:
            self._refusal = f"the broker at {self._broker.place} refuses us ({reason}): check user and password"
            return
        self._accepted = True
        if self._session.filters:
            client.subscribe([(name, 1) for name in self._session.filters])

    def _subscribed_to(
        self, _client: Client, _data: object, _mid: int, reasons: list[ReasonCode], _more: Properties | None
    ) -> None:
        self._subscribed = True
        refused = [name for name, reason in zip(self._session.filters, reasons, strict=False) if reason.is_failure]
        if refused:
            self.trouble = f"the broker does not let us read {refused[0]}: its access list has to allow that"

    def _published(self, _client: Client, _data: object, mid: int, reason: ReasonCode, _more: Properties | None) -> None:
        if self._on_confirmed is None:
            return
        if reason.is_failure:
            self._on_confirmed(mid, Outcome.REFUSED)
        else:
            self._on_confirmed(mid, Outcome.NO_SUBSCRIBER if reason.value == NO_MATCHING_SUBSCRIBERS else Outcome.TAKEN)

    def _came(self, _client: Client, _data: object, message: MQTTMessage) -> None:
        if self._session.on_message is None:
            return
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = ""
        self._session.on_message(topic, bytes(message.payload), message.retain)

    def _check(self, result: MQTTErrorCode) -> None:
        if self._refusal is not None:
            raise BusError(self._refusal)
        if result != MQTTErrorCode.MQTT_ERR_SUCCESS:
            raise BusError(f"the connection to the broker at {self._broker.place} is lost; it is tried again and again")
