"""Scan numbers made into time: unwrapped, with gaps and restarts distinguished.

Board time starts at 0 with the first scan that was seen and never falls. After a restart it goes on where it was, since how long
the board was away cannot be known from its own bytes; where a host clock knows better, the caller says where it goes on.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.values import Identity, SampleBlock
from monitor.wire import thresholds as th
from monitor.wire.items import SampleRun

_U32 = 1 << 32


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """A break in a board's scans.

    Attributes:
        kind: "gap" where scans are missing, "restart" where the board restarted, "repeat" where scans came a second time.
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
    """

    def __init__(self, board: str) -> None:
        self._board = board
        self._due: int | None = None
        self._scan_number = 0
        self.end_s = 0.0
        self._broken = True

    def place(self, run: SampleRun, identity: Identity, resumes_s: float | None = None) -> list[SampleBlock | Hole]:
        """Place one run.

        Args:
            run: Scans as numbered on the wire.
            identity: The identity in force.
            resumes_s: Board time at which this run begins if it turns out to follow a restart; None where that is not known.

        Returns:
            At most one hole, then at most one block.
        """
        interval_s = identity.scan_interval_s
        placed: list[SampleBlock | Hole] = []
        step = 0 if self._due is None else (run.first_scan - self._due) % _U32
        if step >= _U32 // 2:
            if run.first_scan * interval_s >= th.NEAR_ZERO_S:
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
        self.end_s += scans * identity.scan_interval_s
        self._broken = False
        return block


class MillisecondTimeline:
    """Unwraps the u32 milliseconds of a line board into board seconds from its first reading.

    A line without a checksum may come with a damaged digit in its time: a leap counts only once the line after it agrees.

    Attributes:
        end_s: Board time of the line placed last.
        restarts: How often the board restarted so far.
        restarts_at: Which of the lines placed last showed that it did.
    """

    def __init__(self) -> None:
        self._last_ms: int | None = None
        self._leapt_ms: int | None = None
        self._round_ms = 0
        self._arrived_at_0_s: float | None = None
        self.end_s = 0.0
        self.restarts = 0
        self.restarts_at: list[int] = []

    def reopen(self, at_s: float) -> None:
        """Start over at a board time not before the present one, whatever the next milliseconds are."""
        self._last_ms = self._leapt_ms = None
        self.end_s = max(self.end_s, at_s)

    def place(self, times_ms: NDArray[np.int64], resumes_s: float | None = None) -> NDArray[np.float64]:
        """Board seconds of readings in the order they came; shape as given.

        A time that falls back to near zero is a restart, and time goes on where it was, or at ``resumes_s`` where that is later;
        a small step back (readings of one round sent out of order) is kept as it is. The first line of a leap stands at the time
        before it.
        """
        self.restarts_at = []
        seconds = np.empty(len(times_ms))
        done, span = 0, len(times_ms)
        while done < len(times_ms):
            part = times_ms[done : done + span]
            placed = self._place_steady(part, seconds[done : done + span]) if len(part) >= th.FEW_LINES else 0
            done += placed
            if placed == len(part):
                span *= 2
                continue
            # From a leap on line by line, for as long as it may take to settle; then on in growing spans.
            few = times_ms[done : done + th.FEW_LINES].tolist()
            for k, time_ms in enumerate(few, start=done):
                if self._place_one(time_ms, resumes_s):
                    self.restarts_at.append(k)
                seconds[k] = self.end_s
            done, span = done + len(few), 2 * th.FEW_LINES
        return seconds

    def place_received(self, times_ms: NDArray[np.int64], received_s: float, interval_s: float) -> NDArray[np.float64]:
        """Board seconds of readings of a board without a clock, by when they arrived; shape as given.

        Rounds that arrived together are spread over the time since those before, no further than their usual interval apart.
        """
        self.restarts_at = []
        rounds = np.concatenate([[0], np.cumsum(np.diff(times_ms) != 0)])
        count = int(rounds[-1]) + 1
        if self._arrived_at_0_s is None:
            self._arrived_at_0_s = received_s - (count - 1) * interval_s - self.end_s
        now_s = max(received_s - self._arrived_at_0_s, self.end_s)
        step_s = min(interval_s, (now_s - self.end_s) / count)
        self.end_s = now_s
        return now_s - (count - 1 - rounds) * step_s

    def _place_steady(self, times_ms: NDArray[np.int64], seconds: NDArray[np.float64]) -> int:
        """Place lines up to the next leap, as :meth:`_place_one` would; none where one waits to be settled.

        Returns:
            How many.
        """
        if self._last_ms is None or self._leapt_ms is not None:
            return 0
        steps = (np.diff(times_ms, prepend=self._last_ms) + _U32 // 2) % _U32 - _U32 // 2
        # Ahead of each step, and after the last one: the last step forwards so far.
        forward = np.concatenate([[self._round_ms], steps])
        rounds = forward[np.maximum.accumulate(np.where(forward > 0, np.arange(len(forward)), 0))]
        is_leap = (steps < -th.SMALL_STEP_MS) | ((rounds[:-1] > 0) & (steps > th.SMALL_STEP_MS + th.ROUNDS_LOST * rounds[:-1]))
        count = int(is_leap.argmax()) if is_leap.any() else len(steps)
        if count:
            seconds[:count] = np.cumsum(np.concatenate([[self.end_s], steps[:count] / 1000]))[1:]
            self._last_ms, self._round_ms, self.end_s = int(times_ms[count - 1]), int(rounds[count]), float(seconds[count - 1])
        return count

    def _place_one(self, time_ms: int, resumes_s: float | None) -> bool:
        """Place a line; whether it showed a restart."""
        if self._last_ms is None:
            self._last_ms = time_ms
            return False
        step = _signed(time_ms - self._last_ms)
        if not self._is_leap(step):
            self._go(time_ms, step)
            return False
        if self._leapt_ms is None or self._is_leap(_signed(time_ms - self._leapt_ms)):
            self._leapt_ms = time_ms
            return False
        leap = _signed(self._leapt_ms - self._last_ms)
        restarted = leap < -th.SMALL_STEP_MS and self._leapt_ms < th.NEAR_ZERO_S * 1000
        if restarted:
            self.restarts += 1
            leap = 0
            self.end_s = max(self.end_s, resumes_s or 0.0)
        self._go(time_ms, leap + _signed(time_ms - self._leapt_ms))
        return restarted

    def _go(self, time_ms: int, step_ms: int) -> None:
        if step_ms > 0 and self._leapt_ms is None:
            self._round_ms = step_ms
        self.end_s += step_ms / 1000
        self._last_ms, self._leapt_ms = time_ms, None

    def _is_leap(self, step_ms: int) -> bool:
        """Back by more than lines of one round are apart, or ahead by some rounds."""
        return step_ms < -th.SMALL_STEP_MS or (
            self._round_ms > 0 and step_ms > th.SMALL_STEP_MS + th.ROUNDS_LOST * self._round_ms
        )


def _signed(step_ms: int) -> int:
    step_ms %= _U32
    return step_ms - _U32 if step_ms >= _U32 // 2 else step_ms
