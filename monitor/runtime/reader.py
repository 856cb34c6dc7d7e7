"""Reads one port for as long as the watch runs: opens it, reads it, and comes back after whatever happens to it."""

import threading
from collections.abc import Callable, Iterable
from typing import Protocol

from monitor.errors import LinkError, LinkLostError
from monitor.runtime.port_record import PortRecord
from monitor.runtime.worker import Inbox
from monitor.values import Chunk
from monitor.wire import WireDecoder
from monitor.wire.inspection import Transcript
from monitor.wire.thresholds import FEWEST_LINES

BACK_OFF_S = (0.25, 0.5, 1.0, 2.0)
"""Pauses between attempts to open; the last for all further ones."""

TICK_S = 0.1
"""Empty chunks are passed on no more often than this."""

USUAL_BAUDS = (500_000, 115_200, 921_600, 9_600, 57_600, 38_400, 19_200, 230_400, 250_000, 1_000_000)
PROBE_S = 1.3
"""Time for each rate: an identity comes once a second."""
PROBE_PAUSE_S = 60.0
"""Pause between two searches for the right rate."""


class Source(Protocol):
    """What is read: see :class:`monitor.link.SerialSource`."""

    def open(self) -> None:
        """Open, or raise LinkUnavailableError."""

    def read(self) -> Chunk:
        """A chunk after a short pause, or raise LinkLostError."""

    def set_baud(self, baud: int) -> None:
        """Read on at another rate."""

    def close(self) -> None:
        """Close; never raises."""


class PortReader:
    """The work of one port's thread.

    Args:
        record: Where the port's state is kept.
        source: What to read.
        inbox: Where chunks go.
        now_s: The host clock.
        baud: Baud rate of the layout file.

    Attributes:
        beats: Goes up with each read and each attempt to open.
    """

    def __init__(
        self,
        record: PortRecord,
        source: Source,
        *,
        inbox: Inbox,
        now_s: Callable[[], float],
        baud: int,
        back_off_s: tuple[float, ...] = BACK_OFF_S,
    ) -> None:
        self._record = record
        self._source = source
        self._inbox = inbox
        self._now_s = now_s
        self._baud = baud
        self._back_off_s = back_off_s
        self._opened_before = False
        self._mark_reopened = False
        self._ticked_s = 0.0
        self._probed_s: float | None = None
        self._probed: list[Chunk] = []
        self._retired = threading.Event()
        self.beats = 0

    def replacement(self) -> "PortReader":
        """Who takes over where this one stands still; this one passes nothing on any more, whenever it may wake."""
        self._retired.set()
        successor = PortReader(
            self._record,
            self._source,
            inbox=self._inbox,
            now_s=self._now_s,
            baud=self._baud,
            back_off_s=self._back_off_s,
        )
        successor._opened_before = self._opened_before
        successor.beats = self.beats
        return successor

    def work(self, stop: threading.Event) -> None:
        """Open and read until stopped."""
        attempts = 0
        try:
            while not stop.is_set() and not self._retired.is_set():
                self.beats += 1
                try:
                    self._source.open()
                    attempts = 0
                    self._read_on(stop)
                except LinkError as error:
                    if self._retired.is_set():
                        return
                    self._record.failed(self._now_s(), str(error))
                    self._source.close()
                    self._wait(stop, self._back_off_s[min(attempts, len(self._back_off_s) - 1)])
                    attempts += 1
        finally:
            if not self._retired.is_set():
                self._source.close()

    def _read(self) -> Chunk:
        chunk = self._source.read()
        self.beats += 1
        if self._retired.is_set():
            raise LinkLostError("another reader has taken over", port=self._record.port)
        return chunk

    def _read_on(self, stop: threading.Event) -> None:
        if self._retired.is_set():
            return
        self._record.opened(self._now_s())
        self._record.baud_changed(None)
        self._mark_reopened |= self._opened_before
        self._opened_before = True
        self._probed_s = None
        while not stop.is_set():
            self._pass_on(self._read())
            if self._record.makes_no_sense(self._now_s()) and self._may_probe():
                self._probe(stop)

    def _pass_on(self, chunk: Chunk) -> None:
        at_s = chunk.received_s if chunk.received_s is not None else self._now_s()
        self._record.received(at_s, len(chunk.data))
        if not chunk.data:
            self._tick(at_s)
            return
        self._put(chunk, at_s)

    def _put(self, chunk: Chunk, at_s: float) -> None:
        if self._mark_reopened:
            chunk = Chunk(data=chunk.data, received_s=at_s, reopened=True)
        if self._inbox.put(self._record.port, chunk):
            self._mark_reopened = False
            self._ticked_s = at_s

    def _tick(self, at_s: float) -> None:
        if at_s - self._ticked_s >= TICK_S:
            self._ticked_s = at_s
            self._inbox.put(self._record.port, Chunk(data=b"", received_s=at_s))

    def _wait(self, stop: threading.Event, pause_s: float) -> None:
        """Wait, ticking: data must grow stale while the port is away."""
        until_s = self._now_s() + pause_s
        while not stop.is_set() and (left_s := until_s - self._now_s()) > 0:
            self.beats += 1
            stop.wait(min(TICK_S, left_s))
            self._tick(self._now_s())

    def _may_probe(self) -> bool:
        return self._probed_s is None or self._now_s() - self._probed_s > PROBE_PAUSE_S

    def _probe(self, stop: threading.Event) -> None:
        """Listen at the usual rates in turn; stay at the first that makes sense, else go back to the layout file's."""
        found = next((baud for baud in self._other_bauds() if self._makes_sense_at(baud, stop)), None)
        # The trouble may have been passing noise, or a port that takes any rate: the layout file's own gets the last chance.
        if found is not None and self._makes_sense_at(self._baud, stop):
            found = None
        else:
            self._source.set_baud(found or self._baud)
            self._probed.clear()
        self._record.baud_changed(found)
        self._mark_reopened = True
        for chunk in self._probed:
            self._put(chunk, self._now_s())
        self._probed_s = self._now_s()

    def _other_bauds(self) -> Iterable[int]:
        return (baud for baud in USUAL_BAUDS if baud != self._baud)

    def _makes_sense_at(self, baud: int, stop: threading.Event) -> bool:
        self._source.set_baud(baud)
        self._probed.clear()
        decoder, transcript = WireDecoder(self._record.line_board), Transcript()
        until_s = self._now_s() + PROBE_S
        while not stop.is_set() and self._now_s() < until_s:
            chunk = self._read()
            if chunk.data:
                self._probed.append(chunk)
            self._record.received(self._now_s(), len(chunk.data))
            self._tick(self._now_s())
            decoder.feed(chunk.data)
            transcript.take(chunk.data)
            if decoder.form is not None:
                return True
        # Text means the right rate, whatever it says.
        return transcript.line_ends >= FEWEST_LINES and transcript.inspect().look == "text"
