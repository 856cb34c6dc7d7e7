"""Readings of lines placed in board time: those that come together at once, for many take hardly longer than one."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.metering import Trouble
from monitor.runtime.stream_clock import StreamClock
from monitor.values import FindingKind, Identity, LineReadings, joined_lines
from monitor.values.arrays import Floats
from monitor.wire.timeline import MillisecondTimeline

OBSERVE_EVERY_S, OBSERVE_TIMES = 15.0, 4
"""Where pieces were joined, the clock observes one in so many seconds, or so many in all: the one that came with the least delay."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedLines:
    """Readings with the board time of each, and what was wrong among them."""

    lines: LineReadings
    times_s: Floats
    troubles: list[Trouble]


class LinePlacing:
    """Places the lines of one board."""

    def __init__(self, clock: StreamClock) -> None:
        self._clock = clock
        self._timeline = MillisecondTimeline()
        self._waiting: list[LineReadings] = []
        self._amid: list[tuple[int, FindingKind, str]] = []
        self._placed_s = np.zeros(0)
        self._restarts_at: list[int] = []

    @property
    def end_s(self) -> float:
        """Board time reached by lines that were placed."""
        return self._timeline.end_s

    def add(self, lines: LineReadings) -> None:
        """Take lines, to be placed with those that come with them."""
        self._waiting.append(lines)

    def note(self, kind: FindingKind, check: str) -> bool:
        """Something was wrong amid lines that wait; False where none wait."""
        if self._waiting:
            self._amid.append((len(self._waiting), kind, check))
        return bool(self._waiting)

    def place(self, identity: Identity | None, received_s: float | None, least_s: float) -> PlacedLines | None:
        """Place the lines that wait; None where there are none.

        Args:
            identity: Who the board is.
            received_s: Host time of the last of them.
            least_s: Board time that was reached by other items: trouble amid the lines is not before it.
        """
        if not self._waiting:
            return None
        blocks, amid, self._waiting, self._amid = self._waiting, self._amid, [], []
        lines, start_s = joined_lines(blocks), self._timeline.end_s
        self._placed_s = self._times_s(lines, identity, received_s)
        # Board time reached after so many lines.
        reached_s = [start_s, *self._placed_s.tolist()] if amid or self._restarts_at else []
        troubles = []
        for k in self._restarts_at:
            self._clock.reanchor(reached_s[k + 1])
            troubles.append((k + 1, _trouble(FindingKind.RESTART, reached_s[k], reached_s[k + 1])))
        ahead = np.cumsum([0, *(len(block.times_ms) for block in blocks)]).tolist()
        for count, kind, check in amid:
            at_s = max(least_s, reached_s[ahead[count]])
            troubles.append((ahead[count], _trouble(kind, at_s, at_s, check)))
        troubles.sort(key=lambda each: each[0])
        return PlacedLines(lines=lines, times_s=self._placed_s, troubles=[trouble for _, trouble in troubles])

    def observe_pieces(self, counts: NDArray[np.intp], came_s: Floats) -> None:
        """Of the lines placed last so many had come with each of several pieces, which arrived at these host times."""
        observed = np.flatnonzero(counts > 0)
        board_s, came_s = self._placed_s[counts[observed] - 1], came_s[observed]
        turns = np.floor((came_s - came_s[:1]) / np.clip(np.ptp(came_s) / OBSERVE_TIMES, 0.1, OBSERVE_EVERY_S))
        order = np.lexsort((came_s - self._clock.to_stream(board_s), turns))
        for k in np.sort(order[np.flatnonzero(np.diff(turns[order], prepend=-1.0))]).tolist():
            self._clock.observe(float(board_s[k]), float(came_s[k]))

    def reopen(self, board_s: float) -> None:
        """Numbers start over at this board time."""
        self._timeline.reopen(board_s)

    def _times_s(self, lines: LineReadings, identity: Identity | None, received_s: float | None) -> Floats:
        """Board seconds: by the board's own clock, or by when lines came where it has none."""
        if identity is not None and not identity.has_clock and received_s is not None:
            self._restarts_at = []
            return self._timeline.place_received(lines.times_ms, received_s, identity.scan_interval_s)
        # Readings of one line have its time together: none of them bears out what another says of it.
        firsts = np.flatnonzero((np.diff(lines.ends, prepend=-1) != 0) | (np.diff(lines.times_ms, prepend=-1) != 0))
        placed_s = self._timeline.place(lines.times_ms[firsts], self._clock.board_at(received_s))
        self._restarts_at = [int(firsts[k]) for k in self._timeline.restarts_at]
        return np.repeat(placed_s, np.diff(firsts, append=len(lines.times_ms)))


def _trouble(kind: FindingKind, start_s: float, end_s: float, check: str = "") -> Trouble:
    return Trouble(kind=kind, channel=None, start_s=start_s, end_s=end_s, count=1, check=check)
