"""The one thread that runs the pipeline, and the queue where port readers and operators leave things for it."""

import logging
import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence

from monitor.runtime.pipeline import Pipeline
from monitor.runtime.port_record import PortRecord
from monitor.values import Action, Chunk, Step

SIZE_LIMIT_BYTES = 8_000_000
"""Bytes waiting at most: more than half a minute of eight boards at 500000 baud. What comes on top is dropped and counted."""

JOINED_WITHIN_S = 0.5
"""Chunks of one port that wait already are taken as one, up to this long: a chunk's own cost is many times that of its bytes, so a
computer that fell behind catches up. Nothing waits for it."""

_TICK_COST_BYTES = 200
"""What an empty chunk counts for, so that ticks cannot pile up either."""

InboxItem = tuple[str, Chunk] | Action


class Inbox:
    """A bounded queue: chunks are dropped when it is full, operators' actions never.

    Args:
        limit_bytes: How much may wait.
        joined_within_s: How far apart chunks may be that are taken as one; below 0 none are.

    Attributes:
        dropped_bytes: Bytes dropped so far because the worker did not keep up.
    """

    def __init__(self, limit_bytes: int = SIZE_LIMIT_BYTES, joined_within_s: float = JOINED_WITHIN_S) -> None:
        self._limit_bytes = limit_bytes
        self._joined_within_s = joined_within_s
        self._items: deque[InboxItem] = deque()
        self._bytes = 0
        self._arrived = threading.Condition()
        self.dropped_bytes = 0

    def put(self, port: str, chunk: Chunk) -> bool:
        """Leave a chunk; never blocks.

        Returns:
            False where it was dropped.
        """
        with self._arrived:
            if self._bytes + _cost(chunk) > self._limit_bytes:
                self.dropped_bytes += len(chunk.data)
                return False
            self._items.append((port, chunk))
            self._bytes += _cost(chunk)
            self._arrived.notify()
            return True

    def operate(self, action: Action) -> None:
        """Leave an action; never blocks."""
        with self._arrived:
            self._items.append(action)
            self._arrived.notify()

    def take(self, timeout_s: float) -> InboxItem | None:
        """The oldest item; None where none came in time."""
        with self._arrived:
            if not self._items:
                self._arrived.wait(timeout_s)
            if not self._items:
                return None
            item = self._items.popleft()
            if isinstance(item, Action):
                return item
            self._bytes -= _cost(item[1])
            return self._joined(*item)

    def _joined(self, port: str, first: Chunk) -> InboxItem:
        """The chunk with those of its port that wait close behind it; what operators did stays between what was before and after."""
        if not first.data or first.received_s is None:
            return port, first
        pieces, received_s, passed = [first.data], first.received_s, list[InboxItem]()
        while self._items:
            item = self._items[0]
            if isinstance(item, Action) or item[1].received_s is None:
                break
            if item[1].received_s > first.received_s + self._joined_within_s or (item[0] == port and item[1].reopened):
                break
            self._items.popleft()
            if item[0] != port:
                passed.append(item)
                continue
            self._bytes -= _cost(item[1])
            pieces.append(item[1].data)
            received_s = item[1].received_s
        self._items.extendleft(reversed(passed))
        return port, Chunk(data=b"".join(pieces), received_s=received_s, reopened=first.reopened)


def _cost(chunk: Chunk) -> int:
    return len(chunk.data) + _TICK_COST_BYTES


_log = logging.getLogger(__name__)

Sink = Callable[[Step], None]

TICK_S = 0.2
"""Where nothing comes from any port, time still passes: an empty chunk of no port."""

FAILURES_LIMIT = 5
"""So many chunks in a row that the pipeline failed on, and its state is held to be broken: a new one takes over."""

NO_PORT = ""


class PipelineWorker:
    """The work of the pipeline's thread.

    Args:
        make_pipeline: Makes the pipeline, and makes it again should its state break.
        inbox: Where chunks and actions come from.
        sinks: Take each step; one that raises is logged and hurts no other.
        records: By port.
        now_s: The host clock.

    Attributes:
        steps: Steps made so far.
        beats: Goes up with each round: shows that it is alive.
        trouble: What the pipeline or a sink failed on last, one line; empty where nothing did.
        failures: How often something failed.
    """

    def __init__(
        self,
        make_pipeline: Callable[[], Pipeline],
        *,
        inbox: Inbox,
        sinks: Sequence[Sink],
        records: Mapping[str, PortRecord],
        now_s: Callable[[], float],
    ) -> None:
        self._make_pipeline = make_pipeline
        self._pipeline = make_pipeline()
        self._inbox = inbox
        self._sinks = list(sinks)
        self._records = records
        self._now_s = now_s
        self._failed_in_a_row = 0
        self._lock = threading.Lock()
        self._in_hand: tuple[str, Chunk] | None = None
        self._retired = False
        self._reached_s = 0.0
        self.steps = 0
        self.beats = 0
        self.trouble = ""
        self.failures = 0

    def add_sink(self, sink: Sink) -> None:
        """Hand each step to one more sink, before the others; only before the work begins."""
        self._sinks.insert(0, sink)

    def replacement(self) -> "PipelineWorker":
        """Who takes over where this one stands still, with a new pipeline.

        This one hands on nothing any more, whenever it may wake. The bytes that it stood still over are not judged again, only kept.
        """
        with self._lock:
            self._retired = True
            in_hand = self._in_hand
        replacement = PipelineWorker(
            self._make_pipeline, inbox=self._inbox, sinks=self._sinks, records=self._records, now_s=self._now_s
        )
        replacement._in_hand = in_hand
        replacement._reached_s = self._reached_s
        replacement.steps, replacement.beats, replacement.failures, replacement.trouble = (
            self.steps,
            self.beats,
            self.failures,
            self.trouble,
        )
        return replacement

    def work(self, stop: threading.Event) -> None:
        """Work until stopped, then let the pipeline finish."""
        if self._in_hand is not None:
            self._keep_only(self._in_hand)
        while not stop.is_set() and not self._retired:
            self._round(TICK_S)
        while not self._retired and (item := self._inbox.take(0)) is not None:
            self.beats += 1
            self._work_through(item)
        if not self._retired:
            self._publish(self._pipeline.finish())

    def _round(self, timeout_s: float) -> None:
        self.beats += 1
        item = self._inbox.take(timeout_s)
        self._work_through((NO_PORT, self._tick()) if item is None else item)

    def _work_through(self, item: tuple[str, Chunk] | Action) -> None:
        self._in_hand = None if isinstance(item, Action) else item
        try:
            if isinstance(item, Action):
                self._pipeline.operate(item)
                item = (NO_PORT, self._tick())
            step = self._pipeline.feed(*item)
        except Exception as error:  # noqa: BLE001 - a fault in one chunk must not end the watch
            self._fail(error)
            if not isinstance(item, Action) and self._may_go_on():
                self._keep_only(item)
            return
        self._failed_in_a_row = 0
        if self._may_go_on():
            self._publish(step)

    def _may_go_on(self) -> bool:
        """Whether no other worker has taken over; what is in hand is this worker's to hand on then."""
        with self._lock:
            if not self._retired:
                self._in_hand = None
            return not self._retired

    def _keep_only(self, item: tuple[str, Chunk]) -> None:
        """Hand on bytes without a word about them: they could not be judged, but they must not be lost."""
        port, chunk = item
        self._in_hand = None
        self._publish(Step(port=port, chunk=chunk, now_s=max(self._reached_s, chunk.received_s or 0.0)))

    def _tick(self) -> Chunk:
        return Chunk(data=b"", received_s=self._now_s())

    def _publish(self, step: Step) -> None:
        self.steps += 1
        self._reached_s = step.now_s
        if step.port in self._records:
            self._records[step.port].take(step)
        for sink in self._sinks:
            try:
                sink(step)
            except Exception as error:  # noqa: BLE001 - one sink's fault must not hurt the others
                self._note_failure(error)

    def _fail(self, error: Exception) -> None:
        self._note_failure(error)
        self._failed_in_a_row += 1
        if self._failed_in_a_row >= FAILURES_LIMIT:
            _log.error("the pipeline failed %d times in a row: a new one takes over", self._failed_in_a_row)
            self._pipeline = self._make_pipeline()
            self._failed_in_a_row = 0

    def _note_failure(self, error: Exception) -> None:
        self.failures += 1
        self.trouble = f"{type(error).__name__}: {error}"
        # Every power of two, so that a fault in each chunk does not fill the log.
        if self.failures & (self.failures - 1) == 0:
            _log.error("a step failed (%d times so far)", self.failures, exc_info=error)
