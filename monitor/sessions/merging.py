"""Chunks of a session joined into larger ones: many times quicker to work through than as they came."""

from collections.abc import Iterable, Iterator

from monitor.sessions.playback import Played
from monitor.values import Chunk


def merged(played: Iterable[Played], window_s: float) -> Iterator[Played]:
    """Join the chunks of each port within windows of time.

    A board's clock is told by the chunk that was least delayed, so each window is cut behind that one: what the clock learns, and
    with it every time, stays what it was but for some milliseconds.

    Args:
        played: The chunks as they came.
        window_s: Length of the windows.
    """
    window: list[Played] = []
    seen: dict[str, _Pace] = {}
    began_s = 0.0
    for each in played:
        at_s = each.chunk.received_s
        ends = at_s is None or at_s - began_s >= window_s or each.actions or each.chunk.reopened
        if ends and window:
            yield from _joined(window, seen)
            window = []
        if not window:
            began_s = at_s if at_s is not None else began_s
        window.append(each)
    if window:
        yield from _joined(window, seen)


class _Pace:
    """Bytes of one port so far, to see which chunk came with the least delay."""

    def __init__(self, first_s: float) -> None:
        self._first_s = first_s
        self._bytes = 0

    def least_delayed(self, chunks: list[Chunk]) -> int:
        """Which of these neighbouring chunks; they count as gone by then."""
        last_s = chunks[-1].received_s or self._first_s
        total = self._bytes + sum(len(chunk.data) for chunk in chunks)
        seconds_a_byte = (last_s - self._first_s) / total if total else 0.0
        delays_s = []
        for chunk in chunks:
            # Only what ends by a delimiter counts as arrived: a packet cut in two waits for its other half.
            whole = max(chunk.data.rfind(b"\0"), chunk.data.rfind(b"\n") if b"\0" not in chunk.data else -1) + 1
            delays_s.append((chunk.received_s or last_s) - (self._bytes + whole) * seconds_a_byte)
            self._bytes += len(chunk.data)
        return delays_s.index(min(delays_s))


def _joined(window: list[Played], seen: dict[str, _Pace]) -> Iterator[Played]:
    by_port: dict[str, list[Played]] = {}
    for each in window:
        if each.chunk.data:
            by_port.setdefault(each.port, []).append(each)
    if not by_port:
        # Nothing but ticks, perhaps with an action: the last one lets the same time pass.
        yield Played(port=window[-1].port, chunk=window[-1].chunk, actions=window[0].actions)
        return
    actions = window[0].actions
    for port, group in by_port.items():
        chunks = [each.chunk for each in group]
        pace = seen.setdefault(port, _Pace(chunks[0].received_s or 0.0))
        cut = pace.least_delayed(chunks) + 1
        for part in (chunks[:cut], chunks[cut:]):
            if part:
                yield Played(port=port, chunk=_one(part), actions=actions)
                actions = ()


def _one(chunks: list[Chunk]) -> Chunk:
    data = b"".join(chunk.data for chunk in chunks)
    return Chunk(data=data, received_s=chunks[-1].received_s, reopened=chunks[0].reopened)
