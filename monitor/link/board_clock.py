"""Board time made into the watch's time, however a cheap resonator drifts and however late USB delivers.

A chunk arrives late by some milliseconds, sometimes by many, and never early. So the truth lies along the lower edge of the
points (board time, delay): the line that touches them from below (the convex-hull way of removing clock skew: Zhang, Liu and
Xia, IEEE INFOCOM 2002). The line is fitted over the last :data:`WINDOW_S` seconds, short enough for a resonator that warms up.
What was handed out already is never taken back: the mapping bends towards the line instead of jumping to it.
"""

import bisect
from collections import deque

import numpy as np

from monitor.link.lower_line import Point, lower_line
from monitor.values.arrays import Floats

BIN_S = 0.5
WINDOW_S = 60.0
KNOTS_LIMIT = 600
"""Knots of the mapping kept, one a bin: a moment more than five minutes back is mapped by the oldest of them."""
BEND_OVER_S = 4.0
"""Time in which an error is to be bent away; the mapping follows the line from there on, should nothing come for longer."""
SMALL_ERROR_S = 0.01
GENTLE, HARD = 0.002, 0.05
"""Steepest bend, seconds a second, for errors below and above :data:`SMALL_ERROR_S`."""
LATE_S, LATE_FOR_S = 0.5, 4.5
"""A board whose every byte comes this late for this long has lost time for good: its clock is anchored again."""
DRIFT_FROM_S = 45.0
"""Bytes of so long tell a clock's drift to 0.1 % though some came 40 ms late; less tells nothing, and the board is believed."""
DRIFT_OVER_S = 120.0
"""Time constant of the drift: a resonator warms up over minutes."""
RATE_LIMIT = 0.01
"""No board's clock is further off than this: ceramic resonators are good to half a per cent."""


class BoardClock:
    """The mapping of one board: monotone, continuous except where the board itself restarted.

    Implements :class:`monitor.runtime.stream_clock.StreamClock`.

    Attributes:
        drift: Stream seconds a board second, over minutes.
    """

    def __init__(self) -> None:
        self._bins: deque[Point] = deque(maxlen=round(WINDOW_S / BIN_S))
        self._knots_board: deque[float] = deque(maxlen=KNOTS_LIMIT)
        self._knots_stream: deque[float] = deque(maxlen=KNOTS_LIMIT)
        self._table: tuple[Floats, Floats] | None = None
        self._slope = 1.0
        self._bends_to_s = 0.0
        self._rate = 1.0
        self.drift, self._knows_drift = 1.0, False
        self._reached_s = 0.0
        self._received_s = 0.0
        self._anchor_s: float | None = 0.0
        self._late_since_s: float | None = None

    def observe(self, board_s: float, received_s: float | None) -> None:
        """Bytes that end at this board time arrived at this host time."""
        if received_s is None:
            return
        self._received_s = received_s
        if board_s <= self._reached_s and (self._knots_board or board_s <= 0):
            return
        self._reached_s = board_s
        if self._anchor_s is not None:
            self._anchor(self._anchor_s, received_s - (board_s - self._anchor_s) * self._rate)
        self._note(board_s, received_s - board_s)

    def to_stream(self, board_s: Floats) -> Floats:
        """Stream seconds of board seconds; any shape. Before the first observation, the host's latest moment."""
        if not self._knots_board:
            return np.full(np.shape(board_s), self._received_s)
        if np.size(board_s) and np.min(board_s) > self._knots_board[-1]:
            # The usual case: nothing but new moments.
            return self._ahead(board_s)
        if self._table is None:
            self._table = (np.array(self._knots_board), np.array(self._knots_stream))
        board, stream = self._table
        inside = np.interp(board_s, board, stream)
        after = self._ahead(board_s)
        before = stream[0] + (board_s - board[0]) * self._rate
        return np.asarray(np.where(board_s > board[-1], after, np.where(board_s < board[0], before, inside)))

    def board_at(self, received_s: float | None) -> float | None:
        """About which board time belongs to a host time."""
        if received_s is None or not self._knots_board:
            return None
        ahead_s = received_s - self._knots_stream[-1]
        bent_s = min(ahead_s, (self._bends_to_s - self._knots_board[-1]) * self._slope)
        return self._knots_board[-1] + bent_s / self._slope + (ahead_s - bent_s) / self._rate

    def reanchor(self, board_s: float) -> None:
        """From this board time on the board counts from the beginning again: the next observation says where that is, not before what was."""
        if not self._knots_board:
            return
        self._knot(self._reached_s)
        self._bins.clear()
        self._late_since_s = None
        self._anchor_s = board_s

    def _anchor(self, board_s: float, stream_s: float) -> None:
        self._anchor_s = None
        if self._knots_board:
            stream_s = max(stream_s, self._knots_stream[-1])
            if board_s <= self._knots_board[-1]:
                # A leap without any board time between: a hair's breadth later, so that the mapping stays a function.
                board_s = float(np.nextafter(self._knots_board[-1], np.inf))
        self._append(board_s, stream_s)
        self._bends_to_s = board_s

    def _note(self, board_s: float, delay_s: float) -> None:
        """Keep the shortest delay of each bin; a new bin bends the mapping by what the closed ones say."""
        if self._bins and board_s // BIN_S == self._bins[-1][0] // BIN_S:
            if delay_s < self._bins[-1][1]:
                self._bins[-1] = (board_s, delay_s)
            return
        if self._bins:
            self._bend(board_s)
        self._bins.append((board_s, delay_s))
        while self._bins[0][0] < board_s - WINDOW_S:
            self._bins.popleft()

    def _bend(self, board_s: float) -> None:
        self._knot(board_s)
        if self._is_late():
            self._bins.clear()
            self._anchor_s = board_s
            return
        offset_s, self._rate = self._fit(board_s)
        if self._bins[-1][0] - self._bins[0][0] >= DRIFT_FROM_S:
            share = BIN_S / DRIFT_OVER_S if self._knows_drift else 1.0
            self.drift += (self._rate - self.drift) * share
            self._knows_drift = True
        error_s = board_s + offset_s - self._knots_stream[-1]
        limit = GENTLE if abs(error_s) < SMALL_ERROR_S else max(HARD, min(0.5, -error_s / 20))
        bend = max(-limit, min(limit, error_s / BEND_OVER_S))
        self._slope = self._rate + bend
        self._bends_to_s = board_s + (error_s / bend if bend else 0.0)

    def _fit(self, board_s: float) -> tuple[float, float]:
        """Delay of the line at this board time, and the rate (stream seconds a board second)."""
        span_s = self._bins[-1][0] - self._bins[0][0]
        if span_s < 5.0:
            # Too short to tell the rate from the jitter: keep the rate that is known, look at the shortest delay alone.
            drift = self._rate - 1.0
            offset_s = min(delay_s - drift * at_s for at_s, delay_s in self._bins)
            return offset_s + drift * board_s, self._rate
        (at_s, delay_s), slope = lower_line(self._bins)
        if slope < -RATE_LIMIT:
            # Delays fell faster than any clock drifts: what came before was all late (a busy computer) and says nothing.
            while self._bins[0][0] < at_s:
                self._bins.popleft()
            return self._fit(board_s)
        slope = min(RATE_LIMIT, max(-RATE_LIMIT, slope))
        return delay_s + slope * (board_s - at_s), 1.0 + slope

    def _is_late(self) -> bool:
        at_s, delay_s = self._bins[-1]
        if at_s + delay_s - self._mapped(at_s) <= LATE_S:
            self._late_since_s = None
            return False
        if self._late_since_s is None:
            self._late_since_s = at_s
        return at_s - self._late_since_s >= LATE_FOR_S

    def _knot(self, board_s: float) -> None:
        """Freeze the mapping up to here."""
        for knot_s in (min(board_s, self._bends_to_s), board_s):
            if knot_s > self._knots_board[-1]:
                self._append(knot_s, self._mapped(knot_s))

    def _mapped(self, board_s: float) -> float:
        """Stream second of one board second."""
        board, stream = self._knots_board, self._knots_stream
        k = bisect.bisect_right(board, board_s)
        if k == len(board):
            bent_s = min(board_s, self._bends_to_s)
            return stream[-1] + (bent_s - board[-1]) * self._slope + (board_s - bent_s) * self._rate
        if k == 0:
            return stream[0] + (board_s - board[0]) * self._rate
        return stream[k - 1] + (stream[k] - stream[k - 1]) * (board_s - board[k - 1]) / (board[k] - board[k - 1])

    def _ahead(self, board_s: Floats) -> Floats:
        """Stream seconds beyond the last knot: bent as far as it takes, then straight on."""
        bent_s = np.minimum(board_s, self._bends_to_s)
        knot_s = self._knots_board[-1]
        return np.asarray(self._knots_stream[-1] + (bent_s - knot_s) * self._slope + (board_s - bent_s) * self._rate)

    def _append(self, board_s: float, stream_s: float) -> None:
        self._knots_board.append(board_s)
        self._knots_stream.append(stream_s)
        self._bends_to_s = max(self._bends_to_s, board_s)
        self._table = None
