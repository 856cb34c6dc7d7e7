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

Letter = tuple[str, Chunk] | Action


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
            if isinstance(letter, Action):
                return letter
            self._bytes -= _cost(letter[1])
            return self._joined(*letter)

    def _joined(self, port: str, first: Chunk) -> Letter:
        """The chunk with those of its port that wait close behind it; what operators did stays between what was before and after."""
        if not first.data or first.received_s is None:
            return port, first
        pieces, received_s, passed = [first.data], first.received_s, list[Letter]()
        while self._letters:
            letter = self._letters[0]
            if isinstance(letter, Action) or letter[1].received_s is None:
                break
            if letter[1].received_s > first.received_s + self._joined_within_s or (letter[0] == port and letter[1].reopened):
                break
            self._letters.popleft()
            if letter[0] != port:
                passed.append(letter)
                continue
            self._bytes -= _cost(letter[1])
            pieces.append(letter[1].data)
            received_s = letter[1].received_s
        self._letters.extendleft(reversed(passed))
        return port, Chunk(data=b"".join(pieces), received_s=received_s, reopened=first.reopened)


def _cost(chunk: Chunk) -> int:
    return len(chunk.data) + _TICK_COST_BYTES
