"""Where port readers and operators leave things for the one worker."""

import threading
from collections import deque

from monitor.values import Action, Chunk

SIZE_LIMIT_BYTES = 8_000_000
"""Bytes waiting at most: more than half a minute of eight boards at 500000 baud. What comes on top is dropped and counted."""

_TICK_COST_BYTES = 200
"""What an empty chunk counts for, so that ticks cannot pile up either."""

Letter = tuple[str, Chunk] | Action


class Inbox:
    """A bounded queue: chunks are dropped when it is full, operators' actions never.

    Attributes:
        dropped_bytes: Bytes dropped so far because the worker did not keep up.
    """

    def __init__(self, limit_bytes: int = SIZE_LIMIT_BYTES) -> None:
        self._limit_bytes = limit_bytes
        self._letters: deque[Letter] = deque()
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
            self._letters.append((port, chunk))
            self._bytes += _cost(chunk)
            self._arrived.notify()
            return True

    def operate(self, action: Action) -> None:
        """Leave an action; never blocks."""
        with self._arrived:
            self._letters.append(action)
            self._arrived.notify()

    def take(self, timeout_s: float) -> Letter | None:
        """The oldest letter; None where none came in time."""
        with self._arrived:
            if not self._letters:
                self._arrived.wait(timeout_s)
            if not self._letters:
                return None
            letter = self._letters.popleft()
            if not isinstance(letter, Action):
                self._bytes -= _cost(letter[1])
            return letter


def _cost(chunk: Chunk) -> int:
    return len(chunk.data) + _TICK_COST_BYTES
