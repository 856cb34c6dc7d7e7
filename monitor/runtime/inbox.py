"""Where port readers and operators leave things for the one worker."""

import threading
from collections import deque

from monitor.values import Action, Chunk

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
