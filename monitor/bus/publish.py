"""The station's side: takes steps, keeps what is to be sent in the outbox, and sends it whenever the broker is there."""

import contextlib
import logging
import secrets
import threading
import time
from collections import deque
from collections.abc import Callable
from typing import Literal

from monitor.bus.broker import Address, Broker, Kind, escaped
from monitor.bus.connection import Connection, Outcome, Session, Will
from monitor.bus.grid import Grid
from monitor.bus.notes import Writer, worst_first
from monitor.bus.outbox import Outbox, Waiting
from monitor.bus.payloads import Acknowledgement, BusFault, EventNote, Presence, Readings, WarningNote, decode, encode
from monitor.bus.single_figures import SingleFigures
from monitor.errors import BusError
from monitor.layout import Layout
from monitor.standing import LayoutStanding
from monitor.standing.states import mark
from monitor.values import Step, SupplyLoad

_log = logging.getLogger(__name__)

ROUND_S = 0.04
PRESENCE_EVERY_S = 5.0
LOOK_EVERY_S = 0.5
"""So often is looked whether anything stands in another way: that goes out at once."""
JUDGED_LIMIT = 100
"""Districts whose standing goes into one message."""
BACK_OFF_S = (0.2, 0.5, 1.0, 2.0, 5.0)
UNDERWAY_LIMIT = 100
"""Messages sent and not yet confirmed by the broker."""
AGAIN_S = 10.0
"""What was sent and not acknowledged for so long is sent again, while there is a sign of a collector."""
RESUMES_AFTER_S = 3.0
"""Collectors come back when a station does, and say again what they had: what waited longer goes out after that."""
BROKER_KEEPS_S = 8.0
"""Where no one collects, what the broker took is dropped after this: a broker that is killed may not have passed it on."""
PATIENCE_S = 10.0
"""A broker that is away for less is no trouble worth a line on the page."""
STEPS_LIMIT = 4000
"""Steps that may wait for this thread: more than a minute of four boards; beyond it readings go, notices never."""
GOODBYE_S = 1.5


class Publisher:
    """Publishes a watch; :meth:`take` is a sink of it.

    Args:
        layout: What is watched.
        broker: Where to publish.
        station: Under which name.
        outbox: Keeps what is to be sent.
        began_unix_s: Second 0 of the stream on the wall clock.
        now_s: The stream's clock.

    Attributes:
        look: Says how supplies and districts stand; None where that is not sent.
        connected: True while the broker is there.
        sentence: What a person should know about the sending.
    """

    def __init__(
        self,
        layout: Layout,
        broker: Broker,
        station: str,
        *,
        outbox: Outbox,
        began_unix_s: float,
        now_s: Callable[[], float],
    ) -> None:
        self._layout, self._broker, self._station = layout, broker, station
        self._outbox = outbox
        self._now_s = now_s
        self._writer = Writer(began_unix_s=began_unix_s)
        self._grid = Grid()
        self._single_figures: SingleFigures | None = None
        self._steps: deque[Step] = deque()
        self._notices: deque[Step] = deque()
        self._loads: dict[str, SupplyLoad] = {}
        self._standing: dict[int, WarningNote] = {}
        self._connection: Connection | None = None
        self._underway: dict[int, Waiting] = {}
        self._taken_s: dict[int, float] = {}
        self._sent_s: dict[int, float] = {}
        self._after = {True: 0, False: 0}
        self._failures = 0
        self._next_try_s = self._next_presence_s = self._next_pass_s = 0.0
        self._acknowledged_s = -AGAIN_S
        self._disk_trouble = ""
        self._here_s = time.monotonic()
        self._look_s, self._mark = 0.0, ""
        self.look: Callable[[], LayoutStanding] | None = None
        self.connected = False
        self.sentence = f"Looking for the broker at {broker.place}."

    def add_single_figures(self) -> None:
        """Also publish each figure of the present under a topic of its own; before :meth:`work`."""
        self._single_figures = SingleFigures(self._layout, self._topic("readings").replace("/readings", "/figures"))

    def take(self, step: Step) -> None:
        """Take a step; never waits."""
        if step.warnings or step.events:
            self._notices.append(step)
        if len(self._steps) < STEPS_LIMIT:
            self._steps.append(step)

    def status_words(self) -> str:
        """How the sending stands, for the station's own people; from any thread."""
        return " ".join([self.sentence or f"This station sends to {self._broker.place}.", *self._losses()])

    def troubles(self) -> tuple[str, ...]:
        """What is wrong with the sending; from any thread."""
        away_s = time.monotonic() - self._here_s
        return (*([self.sentence] if self.sentence and away_s > PATIENCE_S else []), *self._losses())

    def _losses(self) -> tuple[str, ...]:
        if self._disk_trouble:
            return (self._disk_trouble[:1].upper() + self._disk_trouble[1:],)
        if self._outbox.lost:
            return ("The space for waiting was used up: older readings were thinned out, and even warnings or events were lost.",)
        if self._outbox.thinned:
            return ("The space for waiting was used up: older readings were thinned out, warnings and events were not.",)
        return ()

    def work(self, stop: threading.Event) -> None:
        """Publish until stopped, then say goodbye."""
        try:
            while not stop.is_set():
                self._round(ROUND_S)
            self._say_goodbye()
        finally:
            if self._connection is not None:
                self._connection.drop()
                self._lost("stopped")

    def _round(self, wait_s: float) -> None:
        try:
            self._collect()
            self._disk_trouble = ""
        except BusError as error:  # notices stay and are tried again; what is on disk already goes out
            self._disk_trouble = f"{error}."
        if self._connection is None:
            self._try_to_connect()
        if self._connection is None:
            time.sleep(wait_s)
            return
        try:
            self._send()
            self._connection.wait(wait_s)
        except BusError as error:
            self._lost(str(error))

    def _collect(self) -> None:
        """From steps to messages in the outbox."""
        while self._notices:
            self._note(self._notices[0])  # it stays where the disk refuses it, to be tried again
            self._notices.popleft()
        now_s = None
        while self._steps:
            taken = self._steps.popleft()
            now_s = taken.now_s
            self._loads.update((load.name, load) for load in taken.loads)
            for block in taken.readings:
                self._grid.add(block)
        if now_s is None:
            return
        for row in self._grid.close(now_s):
            if self._single_figures is not None:
                self._single_figures.take(row, tuple(self._loads.values()))
            self._keep("readings", self._writer.readings(row, tuple(self._loads.values()), self._now_s()))

    def _note(self, taken: Step) -> None:
        for warning in taken.warnings:
            note = self._writer.warning(warning, self._now_s())
            self._keep("warnings", note)
            if note.end_s is None:
                self._standing[note.id] = note
            else:
                self._standing.pop(note.id, None)
            self._next_presence_s = 0.0
        for event in taken.events:
            self._keep("events", self._writer.event(event, self._now_s()))

    def _keep(self, kind: Kind, body: Readings | WarningNote | EventNote) -> None:
        self._outbox.put(self._topic(kind), encode(body), notice=kind != "readings", name=body.uid)

    def _topic(self, kind: Kind) -> str:
        return Address(hall=self._broker.hall, station=self._station, kind=kind).topic

    def _try_to_connect(self) -> None:
        if time.monotonic() < self._next_try_s:
            return
        will = Will(topic=self._topic("presence"), payload=encode(self._writer.last_will()))
        # The start's own mark makes the name one that no other client can guess and push out.
        name = f"station-{escaped(self._broker.hall)}-{escaped(self._station)}-{self._writer.boot}"
        session = Session(client_id=name, will=will, filters=(self._topic("kept"),), on_message=self._acknowledged)
        connection = Connection(self._broker, session, self._confirmed)
        try:
            connection.connect()
            connection.publish(self._topic("layout"), encode(self._writer.outline(self._layout, self._now_s())), retain=True)
            if self._single_figures is not None:
                self._single_figures.describe(connection)
        except BusError as error:
            connection.drop()
            self._lost(str(error))
            return
        self._connection, self.connected = connection, True
        self._failures = 0
        self.sentence = ""
        self._sent_s, self._taken_s = dict.fromkeys(self._sent_s, -AGAIN_S), {}
        self._after = dict.fromkeys((True, False), max(self._outbox.ids(), default=0))
        self._next_presence_s = 0.0
        self._next_pass_s = time.monotonic() + (RESUMES_AFTER_S if self._has_collector() else 0.0)

    def _lost(self, why: str) -> None:
        if self._connection is not None:
            self._connection.drop()
        self._connection, self.connected = None, False
        self._underway.clear()
        pause_s = BACK_OFF_S[min(self._failures, len(BACK_OFF_S) - 1)]
        self._failures += 1
        # Uneven, so that the stations of a hall do not all come at once when the broker is back.
        self._next_try_s = time.monotonic() + pause_s * (0.7 + 0.6 * secrets.randbelow(1000) / 1000)
        self.sentence = f"Nothing reaches the hall: {why}. It waits on this computer's disk meanwhile."

    def _aim(self, now_s: float) -> None:
        """Where to go on: with what is new, and from time to time with all that no one acknowledged."""
        if now_s < self._next_pass_s:
            return
        self._next_pass_s = now_s + AGAIN_S
        if len(self._sent_s) > self._outbox.waiting_count:  # some gave way to the limit
            there = self._outbox.ids()
            self._sent_s = {number: sent_s for number, sent_s in self._sent_s.items() if number in there}
        if not self._has_collector():
            for number in [number for number, taken_s in self._taken_s.items() if now_s - taken_s >= BROKER_KEEPS_S]:
                self._outbox.drop(number)
                del self._taken_s[number], self._sent_s[number]
        elif now_s - self._acknowledged_s >= AGAIN_S:
            # All of it would go to no one: the first is sent, and its acknowledgement begins the rest.
            self._send_some(notice=True, after=0, most=1)
            self._send_some(notice=False, after=0, most=1)
            return
        self._after = {True: 0, False: 0}

    def _acknowledged(self, topic: str, payload: bytes, retained: bool) -> None:  # noqa: FBT001 - the connection's own form
        received = decode(topic, payload, retained=retained)
        if retained or isinstance(received, BusFault) or not isinstance(received.body, Acknowledgement):
            return
        now_s = time.monotonic()
        self._taken_s.clear()
        if now_s - self._acknowledged_s >= AGAIN_S:
            self._next_pass_s = min(self._next_pass_s, now_s + RESUMES_AFTER_S)
        self._acknowledged_s = now_s
        with contextlib.suppress(BusError):  # the disk refuses it: it is sent and acknowledged again
            for number in self._outbox.acknowledge(received.body.names, self._sent_s, self._unix_s()):
                del self._sent_s[number]

    def _has_collector(self) -> bool:
        return self._outbox.has_collector(self._unix_s())

    def _unix_s(self) -> float:
        return self._writer.began_unix_s + self._now_s()

    def _send(self) -> None:
        assert self._connection is not None  # noqa: S101 - told to the type checker
        now_s = time.monotonic()
        self._here_s = now_s
        self._aim(now_s)
        if self._has_changed(now_s) or now_s >= self._next_presence_s:
            self._next_presence_s = now_s + PRESENCE_EVERY_S
            self._connection.publish(self._topic("presence"), encode(self._presence("here")), retain=True)
        if self._single_figures is not None:
            self._single_figures.send(self._connection)
        for notice in (True, False):
            self._after[notice] = self._send_some(notice=notice, after=self._after[notice], most=UNDERWAY_LIMIT)

    def _send_some(self, *, notice: bool, after: int, most: int) -> int:
        """Send the next messages that were not sent lately; the id of the last that needs no further look."""
        assert self._connection is not None  # noqa: S101 - told to the type checker
        now_s, room = time.monotonic(), min(most, UNDERWAY_LIMIT - len(self._underway))
        for body in self._outbox.waiting(notice=notice, after=after, most=room) if room > 0 else ():
            after = body.id
            if now_s - self._sent_s.get(body.id, -AGAIN_S) >= AGAIN_S and body.id not in self._taken_s:
                self._sent_s[body.id] = now_s
                self._underway[self._connection.publish(body.topic, body.payload)] = body
        return after

    def _confirmed(self, mid: int, outcome: Outcome) -> None:
        body = self._underway.pop(mid, None)
        if body is None:
            return
        is_gone = outcome is Outcome.TAKEN or (outcome is Outcome.NO_SUBSCRIBER and not body.notice)
        if is_gone and not self._has_collector():
            self._taken_s[body.id] = time.monotonic()
        if outcome is Outcome.REFUSED:
            self.sentence = f"The broker refuses what this station sends to {body.topic}: its access list has to allow that."

    def _has_changed(self, now_s: float) -> bool:
        """Whether supplies and districts stand in another way than was said last, or something counts down."""
        if self.look is None or now_s < self._look_s:
            return False
        self._look_s = now_s + LOOK_EVERY_S
        standing = self.look()
        before, self._mark = self._mark, mark(standing)
        return before != self._mark or any(supply.countdown is not None for supply in standing.supplies)

    def _presence(self, state: Literal["here", "gone"]) -> Presence:
        return Presence(
            **self._writer.head(self._now_s()),
            state=state,
            now_s=round(self._now_s(), 3),
            waiting=self._outbox.waiting_count - len(self._taken_s),
            thinned=self._outbox.thinned,
            lost=self._outbox.lost,
            sentence=self.sentence,
            standing=worst_first(self._standing.values()),
            judged=self.look() if self.look is not None and len(self._layout.district) <= JUDGED_LIMIT else None,
        )

    def _say_goodbye(self) -> None:
        self._collect()
        if self._connection is None:
            return
        ends_s = time.monotonic() + GOODBYE_S
        try:
            while time.monotonic() < ends_s and self._outbox.waiting_count > len(self._taken_s):
                self._send()
                self._connection.wait(ROUND_S)
            self._connection.publish(self._topic("presence"), encode(self._presence("gone")), retain=True)
            self._connection.wait(ROUND_S)
            self._connection.close()
        except BusError as error:
            _log.warning("the goodbye did not reach the broker: %s", error)
