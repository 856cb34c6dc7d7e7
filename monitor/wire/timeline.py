"""Scan numbers made into time: unwrapped, with gaps and restarts told apart.

Board time starts at 0 with the first scan that was seen and never falls. After a restart it goes on where it was, since how long
the board was away cannot be known from its own bytes; where a host clock knows better, the caller says where it goes on.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.values import Identity, SampleBlock
from monitor.wire.items import SampleRun

_U32 = 1 << 32
NEAR_ZERO_S = 30.0
"""A scan index that falls back to less than this is a restart; any other backward step is a packet that came twice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """A break in a board's scans.

    Attributes:
        kind: "gap" where scans are missing, "restart" where the board began anew, "repeat" where scans came a second time.
        start_s: Board time at which it began.
        end_s: Board time at which scans go on.
        scans: How many scans are missing (or came twice).
    """

    kind: str
    start_s: float
    end_s: float
    scans: int


class ScanTimeline:
    """Places runs of scans of one board on its time line.

    Attributes:
        end_s: Board time of the scan due next.
        scans_seen: Scans placed so far.
    """

    def __init__(self, board: str) -> None:
        self._board = board
        self._due: int | None = None
        self._scan_number = 0
        self.end_s = 0.0
        self.scans_seen = 0
        self._broken = True

    def place(self, run: SampleRun, identity: Identity, resumes_s: float | None = None) -> list[SampleBlock | Hole]:
        """Place one run.

        Args:
            run: Scans as numbered on the wire.
            identity: The identity in force.
            resumes_s: Board time at which this run begins if it turns out to follow a restart; None where nobody knows.

        Returns:
            At most one hole, then at most one block.
        """
        interval_s = identity.scan_interval_s
        placed: list[SampleBlock | Hole] = []
        step = 0 if self._due is None else (run.first_scan - self._due) % _U32
        if step >= _U32 // 2:
            if run.first_scan * interval_s >= NEAR_ZERO_S:
                again = _U32 - step
                return [Hole(kind="repeat", start_s=self.end_s, end_s=self.end_s, scans=min(again, len(run.counts)))]
            step = run.first_scan
            placed.append(self._skip("restart", step, interval_s, resumes_s))
        elif step:
            placed.append(self._skip("gap", step, interval_s))
        placed.append(self._block(run, identity))
        return placed

    def break_off(self) -> None:
        """What comes next does not follow what came last (the port was lost, another identity came)."""
        self._broken = True

    def reopen(self, at_s: float) -> None:
        """Start over at a board time not before the present one, whatever the next scan index is."""
        self._due = None
        self._broken = True
        self.end_s = max(self.end_s, at_s)

    def _skip(self, kind: str, scans: int, interval_s: float, resumes_s: float | None = None) -> Hole:
        start_s = self.end_s
        self._scan_number += scans
        self.end_s = max(self.end_s + scans * interval_s, resumes_s or 0.0)
        self._broken = True
        return Hole(kind=kind, start_s=start_s, end_s=self.end_s, scans=scans)

    def _block(self, run: SampleRun, identity: Identity) -> SampleBlock:
        block = SampleBlock(
            board=self._board,
            identity=identity,
            start_s=self.end_s,
            interval_s=identity.scan_interval_s,
            first_scan=self._scan_number,
            counts=run.counts,
            continues=not self._broken,
        )
        scans = len(run.counts)
        self._due = (run.first_scan + scans) % _U32
        self._scan_number += scans
        self.scans_seen += scans
        self.end_s += scans * identity.scan_interval_s
        self._broken = False
        return block


class MillisecondTimeline:
    """Unwraps the u32 milliseconds of a line board into board seconds from its first reading."""

    def __init__(self) -> None:
        self._last_ms: int | None = None
        self.end_s = 0.0
        self.restarts = 0

    def reopen(self, at_s: float) -> None:
        """Start over at a board time not before the present one, whatever the next milliseconds are."""
        self._last_ms = None
        self.end_s = max(self.end_s, at_s)

    def place(self, times_ms: NDArray[np.int64], resumes_s: float | None = None) -> NDArray[np.float64]:
        """Board seconds of readings in the order they came; shape as given.

        A time that falls back to near zero is a restart, and time goes on where it was, or at ``resumes_s`` where that is later;
        a small step back (readings of one round sent out of order) is kept as it is.
        """
        if not len(times_ms):
            return np.zeros(0)
        before = times_ms[0] if self._last_ms is None else self._last_ms
        steps = np.diff(times_ms, prepend=before) % _U32
        steps = np.where(steps >= _U32 // 2, steps - _U32, steps)
        restarted = (steps < -1000) & (times_ms < NEAR_ZERO_S * 1000)
        self.restarts += int(restarted.sum())
        steps = np.where(restarted, 0, steps)
        seconds = self.end_s + np.cumsum(steps) / 1000
        if resumes_s is not None and restarted.any():
            first = int(np.argmax(restarted))
            seconds[first:] += max(0.0, resumes_s - float(seconds[first]))
        self._last_ms = int(times_ms[-1])
        self.end_s = float(seconds[-1])
        return np.asarray(seconds, dtype=np.float64)
