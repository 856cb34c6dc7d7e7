"""Chunks of a session joined into larger ones: many times quicker to work through than as they came.

What all ports brought within a window of time is joined port by port and stays together, to be judged together: taken one port
after the other, the first would move the time on by a whole window, and the others would count as silent.

A window ends where an operator did something or a port was opened again. It is short at first, and short again after a port was
opened, so that a board's clock starts as it did when the bytes came. Lines say what time it was on the board when each piece of a
window came; packets do not, so they are cut behind the piece that came with the least delay, in every :data:`STRETCH_S` one, and the
clock observes there. So what the clock learns, and with it every time, stays what it was but for some milliseconds.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from monitor.sessions.playback import ChunkLog, Playback, Played, SessionPart, log_of
from monitor.values import Action, Chunk, JoinedChunk
from monitor.values.arrays import Floats

Whole = NDArray[np.int64]

STRETCH_S = 10.0
"""The clock of a board of waveforms observes at least this often."""
GROWTH = 0.5
"""A window is at most this share as long as it is since a port was opened."""
WINDOW_BYTES = 500_000
"""A window ends at so many bytes a port: what they are made into must find room in memory, and is quickest near at hand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """What one window of time brought.

    Attributes:
        chunks: Ports and their chunks; those of one port in their order.
        actions: What operators had done before them.
    """

    chunks: tuple[tuple[str, Chunk], ...]
    actions: tuple[Action, ...] = ()


class ChunkSource(Protocol):
    """Where rows of a chunk log and their bytes come from; :class:`monitor.sessions.playback.SessionPart` is one."""

    log: ChunkLog

    def actions(self) -> dict[int, tuple[Action, ...]]:
        """What operators had done before a chunk came, by its place in the log."""

    def name(self, port: int) -> str:
        """Device or URL of a port."""

    def take(self, port: int, size: int) -> bytes:
        """The next bytes of a port; fewer where there are no more."""


def merged(playback: Playback, window_s: float) -> Iterator[Together]:
    """A whole session in windows.

    Args:
        playback: The session's chunks.
        window_s: Length of the windows; a part of the session is divided evenly.
    """
    merger = Merger(window_s)
    for part in playback.parts():
        yield from _of_part(part, merger)


def part_windows(part: SessionPart, window_s: float) -> Iterator[Together]:
    """One part of a session in windows, as if nothing had come before it."""
    yield from _of_part(part, Merger(window_s))


class Merger:
    """Joins one stretch of chunks after the other.

    Args:
        window_s: Length of the windows at most.
    """

    def __init__(self, window_s: float) -> None:
        self._window_s = window_s
        self._opened_s: float | None = None
        self._heard: set[str] = set()

    def windows(self, source: ChunkSource) -> Iterator[Together]:
        """The chunks of a source in windows; the last one ends where the source does."""
        log, actions = source.log, source.actions()
        opens = self._opens(source)
        edges = _edges(log, opens, actions)
        at_s = np.maximum.accumulate(np.where(np.isnan(log.received_s), -np.inf, log.received_s))
        # In windows' worth of bytes: that of all ports together.
        gone = np.concatenate([[0], np.cumsum(log.sizes)]) / (WINDOW_BYTES * max(1, len(np.unique(log.ports[log.sizes > 0]))))
        for begin, end in pairwise(edges):
            if opens[begin] or self._opened_s is None:
                self._opened_s = float(at_s[begin]) if np.isfinite(at_s[begin]) else None
            for first, last in self._divided(at_s, gone, begin, end):
                yield Together(chunks=tuple(_chunks(source, first, last)), actions=actions.get(first, ()))

    def _opens(self, source: ChunkSource) -> NDArray[np.bool_]:
        """At which rows a port sends for the first time, ever or since it was reopened."""
        log = source.log
        opens = log.reopened.copy()
        ports, firsts = np.unique(np.where(log.sizes > 0, log.ports, -1), return_index=True)
        for port, first in zip(ports.tolist(), firsts.tolist(), strict=True):
            if port >= 0 and (name := source.name(port)) not in self._heard:
                self._heard.add(name)
                opens[first] = True
        return opens

    def _divided(self, at_s: Floats, gone: Floats, begin: int, end: int) -> Iterator[tuple[int, int]]:
        """First and last row (that one not included) of each window between two edges."""
        while begin < end:
            length_s = self._length_s(float(at_s[begin]), float(at_s[end - 1]))
            last = begin + int(np.searchsorted(at_s[begin:end], at_s[begin] + length_s, side="right"))
            last = min(last, int(np.searchsorted(gone, gone[begin] + 1.0, side="right")) - 1)
            last = max(last, begin + 1)
            yield begin, last
            begin = last

    def _length_s(self, begin_s: float, end_s: float) -> float:
        opened_s = begin_s if self._opened_s is None else self._opened_s
        length_s = min(self._window_s, GROWTH * max(0.0, begin_s - opened_s))
        if length_s < self._window_s or not end_s > begin_s:
            return length_s
        return (end_s - begin_s) / float(np.ceil((end_s - begin_s) / length_s))


class ListedChunk:
    """Chunks at hand, as a source."""

    def __init__(self, played: Sequence[Played]) -> None:
        self._names = list(dict.fromkeys(each.port for each in played))
        numbers = {name: number for number, name in enumerate(self._names)}
        self._actions = {place: each.actions for place, each in enumerate(played) if each.actions}
        self._data = [b"".join(each.chunk.data for each in played if each.port == name) for name in self._names]
        self._taken = [0] * len(self._names)
        self.log = log_of(
            (k, numbers[each.port], len(chunk.data), np.nan if chunk.received_s is None else chunk.received_s, chunk.reopened)
            for k, each in enumerate(played)
            for chunk in (each.chunk,)
        )

    def actions(self) -> dict[int, tuple[Action, ...]]:
        """What operators had done before a chunk came, by its place in the log."""
        return self._actions

    def name(self, port: int) -> str:
        """Device or URL of a port."""
        return self._names[port]

    def take(self, port: int, size: int) -> bytes:
        """The next bytes of a port."""
        begin = self._taken[port]
        self._taken[port] += size
        return self._data[port][begin : begin + size]


def _of_part(part: SessionPart, merger: Merger) -> Iterator[Together]:
    yield from merger.windows(part)
    yield from (Together(chunks=chunks) for chunks in part.rest())


def _edges(log: ChunkLog, opens: NDArray[np.bool_], actions: Iterable[int]) -> list[int]:
    """Rows at which a window must begin, and the end of the log.

    The first chunk of a port that was opened stands alone, and so does what came at no known time.
    """
    alone = np.flatnonzero(opens | np.isnan(log.received_s))
    found: list[int] = np.unique(np.concatenate([[0, len(log)], list(actions), alone, alone + 1]).astype(np.int64)).tolist()
    return found


def _chunks(source: ChunkSource, first: int, last: int) -> Iterator[tuple[str, Chunk]]:
    """The chunks of one window, port by port in the order of their first; at last a tick where time went on without bytes."""
    rows = slice(first, last)
    ports, sizes, came_s = source.log.ports[rows], source.log.sizes[rows], source.log.received_s[rows]
    if last - first == 1:
        yield source.name(int(ports[0])), _single(source, first)
        return
    heard_s = -np.inf
    for port in dict.fromkeys(ports[sizes > 0].tolist()):
        mine = np.flatnonzero((ports == port) & (sizes > 0))
        ends = np.cumsum(sizes[mine])
        data = source.take(port, int(ends[-1]))
        there = int(np.searchsorted(ends - sizes[mine], len(data)))
        if there:
            pieces = _ChunkPieces(data, np.minimum(ends[:there], len(data)), came_s[mine[:there]])
            heard_s = max(heard_s, float(pieces.came_s[-1]))
            yield from ((source.name(port), chunk) for chunk in pieces.chunks())
    if not heard_s >= came_s.max():
        yield source.name(int(ports[-1])), Chunk(data=b"", received_s=float(came_s.max()))


def _single(source: ChunkSource, row: int) -> Chunk:
    """A chunk as it came."""
    log = source.log
    at_s = float(log.received_s[row])
    data = source.take(int(log.ports[row]), int(log.sizes[row]))
    return Chunk(data=data, received_s=None if np.isnan(at_s) else at_s, reopened=bool(log.reopened[row]))


@dataclass(frozen=True, slots=True)
class _ChunkPieces:
    """Chunks of one port within a window: their bytes, where each ends, and when it came."""

    data: bytes
    ends: Whole
    came_s: Floats

    def chunks(self) -> Iterator[JoinedChunk]:
        """Lines as one, waveforms joined up to the least delayed piece of each stretch, and to the last one."""
        last = len(self.ends)
        prompt = list(self._least_delayed()) if b"\0" in self.data else []
        for begin, end in pairwise([0, *prompt, *([] if last in prompt else [last])]):
            at = int(self.ends[begin - 1]) if begin else 0
            data, came_s = self.data[at : self.ends[end - 1]], self.came_s[begin:end]
            received_s, ends = float(came_s[-1]), self.ends[begin:end] - at
            yield JoinedChunk(data=data, received_s=received_s, ends=ends, came_s=came_s, is_prompt=end in prompt)

    def _least_delayed(self) -> Iterator[int]:
        """Behind which pieces the bytes are cut.

        Boards send packets at an even pace: the piece furthest below the straight line of arrival over bytes is the least delayed.
        """
        span_s = float(self.came_s[-1] - self.came_s[0])
        stretches = max(1, int(np.ceil(span_s / STRETCH_S)))
        numbers = np.minimum((self.came_s - self.came_s[0]) * (stretches / (span_s or 1.0)), stretches - 1).astype(np.int64)
        progress = _progress(self.data, self.ends)
        for stretch in range(stretches):
            rows = np.flatnonzero(numbers == stretch)
            if len(rows):
                yield int(rows[np.argmin(_above_line(progress[rows], self.came_s[rows]))]) + 1


def _above_line(x: Floats, y: Floats) -> Floats:
    """How far points lie above the straight line through them (least squares)."""
    dx, dy = x - x.mean(), y - y.mean()
    square = float(dx @ dx)
    slope = float(dx @ dy) / square if square else 0.0
    return np.asarray(dy - dx * slope)


def _progress(data: bytes, ends: Whole) -> Floats:
    """Bytes up to the last whole packet at the end of each piece: a packet cut in two waits for its other half."""
    stops = np.concatenate([[0], np.flatnonzero(np.frombuffer(data, dtype=np.uint8) == 0) + 1])
    return stops[np.searchsorted(stops, ends, side="right") - 1].astype(np.float64)
