"""Ticks: readings of all districts on one common grid of tenths of a second, with what was usual just before each."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.facts.circuits import Circuits
from monitor.facts.openings import Openings
from monitor.facts.sliding import medians_of_five, rows_before, sliding
from monitor.values import ReadingBlock
from monitor.values.arrays import Floats

Bools = NDArray[np.bool_]

TICK_S = 0.1
KEPT_TICKS = 12_000  # twenty minutes: enough laps for any verdict; older ticks are forgotten
HELD_TICKS = 12  # a reading stands this long where the next one is missing, then there is none
LATE_TICKS = 5  # a board that is silent for this long holds the others up no longer
WAVERING_TICKS = 26
CALM_TICKS = 6
_MEASURED = ("volts", "volts_low", "volts_high", "amps", "amps_low", "amps_high", "offset_volts")
_DERIVED = ("usual_volts", "usual_amps", "volts_spread", "calm")


class Ticks:
    """Means, lows and highs of each tick; tick k covers readings that end in [k, k+1) tenths of a second.

    Each attribute below is an array of shape (n, d) whose row 0 is tick ``base``; only rows before ``end`` are complete.

    Attributes:
        base: Number of the first tick kept.
        end: Number of the first tick that is not complete yet.
        real_end: Like end, without the standstill added by :meth:`stand_still`.
    """

    volts: Floats
    volts_low: Floats
    volts_high: Floats
    amps: Floats
    amps_low: Floats
    amps_high: Floats
    offset_volts: Floats
    usual_volts: Floats
    usual_amps: Floats
    volts_spread: Floats
    calm: Bools

    def __init__(self, circuits: Circuits) -> None:
        self._circuits = circuits
        self._columns = {name: k for k, name in enumerate(circuits.districts)}
        self._pending: dict[str, tuple[tuple[str, ...], list[_Rows]]] = {}
        self._reached: dict[str, int] = {}
        self._held = np.full(len(circuits), -HELD_TICKS - 1)
        self._openings = Openings(circuits)
        self.base = 0
        self.end = 0
        self.real_end = 0
        self._started = False
        self._allocate(1024)

    def take(self, block: ReadingBlock) -> None:
        """Take readings; they show once :meth:`complete` finds their tick complete."""
        if len(block) and block.districts:
            rows = _Rows(_ticks(block.end_s), block.volts_rms, block.amps_rms, block.volts_mean)
            self._pending.setdefault(block.board, (block.districts, []))[1].append(rows)

    def complete(self, now_s: float) -> None:
        """Complete as many ticks as the readings of all boards allow."""
        first, reached = self._reach(now_s)
        if first is None:
            return
        if not self._started:
            self.base = self.end = self.real_end = first
            self._held += first
            self._started = True
        if reached <= self.end:
            return
        begin, self.end = self.end, reached
        self.real_end = reached
        self._room()
        for name in _MEASURED:
            getattr(self, name)[begin - self.base : self.end - self.base] = np.nan
        for board in list(self._pending):
            self._fill(board, begin)
        self._hold(begin)
        self._close_off(begin)
        self._derive(begin)

    def stand_still(self, ticks: int) -> None:
        """The stream ended: let the last readings stand for so many ticks more, that what waits can be decided."""
        begin = self.end
        if not self._started or begin == self.base:
            return
        self.end += ticks
        self._room()
        for name in _MEASURED:
            array = getattr(self, name)
            array[begin - self.base : self.end - self.base] = array[begin - self.base - 1]
        self._derive(begin)
        self.end, self.real_end = begin + ticks, begin

    def forget(self) -> None:
        """Let go of ticks older than the kept ones."""
        extra = self.end - self.base - KEPT_TICKS
        if extra < KEPT_TICKS // 4:
            return
        for name in (*_MEASURED, *_DERIVED):
            setattr(self, name, getattr(self, name)[extra:])
        self.base += extra

    def rows(self, first: int, last: int) -> slice:
        """Where ticks first..last-1 stand in the arrays, cut to what is kept and complete."""
        low = min(max(first, self.base), self.end)
        return slice(low - self.base, max(low, min(last, self.end)) - self.base)

    def before(self, name: str, rows: NDArray[np.intp], columns: NDArray[np.intp], width: int) -> Floats:
        """A tick figure at the ticks 2..width+1 back of some moments.

        Args:
            name: Of the attribute.
            rows: Shape (k,): where the moments' ticks stand in the arrays.
            columns: Shape (k,): each moment's district.
            width: How many.

        Returns:
            Shape (k, width); NaN before the first tick.
        """
        back = rows[:, None] + np.arange(-width - 1, -1)
        return np.where(back >= 0, getattr(self, name)[np.maximum(back, 0), columns[:, None]], np.nan)

    def _reach(self, now_s: float) -> tuple[int | None, int]:
        """First tick of all pending readings, and the tick that every board has passed (silent boards count as late)."""
        first: int | None = self.end if self._started else None
        for board, (_districts, blocks) in self._pending.items():
            if blocks:
                self._reached[board] = max(self._reached.get(board, 0), int(blocks[-1].ticks[-1]))
                if not self._started:
                    start = int(blocks[0].ticks[0])
                    first = start if first is None else min(first, start)
        late = _tick(now_s) - LATE_TICKS
        reached = min((max(tick, late) for tick in self._reached.values()), default=0)
        return first, reached

    def _allocate(self, rows: int) -> None:
        for name in (*_MEASURED, *_DERIVED):
            # A district's ticks lie side by side: they are looked at one district at a time.
            kind = np.bool_ if name == "calm" else np.float64
            array: NDArray[np.bool_ | np.float64] = np.empty((len(self._circuits), rows), dtype=kind).T
            old = getattr(self, name, None)
            if old is not None:
                array[: len(old)] = old
            setattr(self, name, array)

    def _room(self) -> None:
        rows = self.end - self.base
        if rows > len(self.volts):
            self._allocate(max(rows + 512, min(2 * rows, 2 * KEPT_TICKS)))

    def _fill(self, board: str, begin: int) -> None:
        """Means, lows and highs of the complete ticks of one board."""
        districts, blocks = self._pending[board]
        if not blocks:
            return
        rows = blocks[0] if len(blocks) == 1 else _joined(blocks)
        late, done = np.searchsorted(rows.ticks, [begin, self.end]).tolist()
        blocks[:] = [rows.part(done, None)] if done < len(rows.ticks) else []
        if done > late:
            self._reduce(districts, rows.part(late, done))

    def _reduce(self, districts: tuple[str, ...], rows: "_Rows") -> None:
        starts = np.flatnonzero(np.diff(rows.ticks, prepend=rows.ticks[0] - 1))
        counts = np.diff(starts, append=len(rows.ticks))[:, None]
        index = np.ix_(rows.ticks[starts] - self.base, np.array([self._columns[name] for name in districts]))
        for name, values in (("volts", rows.volts), ("amps", rows.amps), ("offset_volts", rows.offset_volts)):
            getattr(self, name)[index] = np.add.reduceat(values, starts, axis=0) / counts
        for name, values in (("volts", rows.volts), ("amps", rows.amps)):
            getattr(self, f"{name}_low")[index] = np.minimum.reduceat(values, starts, axis=0)
            getattr(self, f"{name}_high")[index] = np.maximum.reduceat(values, starts, axis=0)

    def _hold(self, begin: int) -> None:
        """Where readings are missing the last one stands for a while."""
        span = slice(begin - self.base, self.end - self.base)
        there = ~np.isnan(self.volts[span])
        numbers = np.arange(begin, self.end)[:, None]
        last = np.maximum.accumulate(np.where(there, numbers, self._held[None, :]), axis=0)
        self._held = last[-1].copy()
        if there.all():
            return
        at, column = np.nonzero(~there & (numbers - last <= HELD_TICKS) & (last >= self.base))
        source = last[at, column] - self.base
        for mean, *extremes in (("volts", "volts_low", "volts_high"), ("amps", "amps_low", "amps_high"), ("offset_volts",)):
            values = getattr(self, mean)[source, column]
            for name in (mean, *extremes):
                getattr(self, name)[at + span.start, column] = values

    def _close_off(self, begin: int) -> None:
        """An open feed has no volts of its own."""
        span = slice(begin - self.base, self.end - self.base)
        usual = _usual(self.volts, span), _usual(self.amps, span)
        volts = self.volts[span], self.volts_low[span], self.volts_high[span]
        self._openings.close_off(volts, (self.amps_low[span], self.amps_high[span]), usual)

    def _derive(self, begin: int) -> None:
        """What was usual just before each tick, and how much it wavered: from earlier ticks only."""
        span = slice(begin - self.base, self.end - self.base)
        self.usual_volts[span] = _usual(self.volts, span)
        self.usual_amps[span] = _usual(self.amps, span)
        volts = rows_before(self.volts, span, WAVERING_TICKS, 2)
        self.volts_spread[span] = sliding(np.maximum, volts, WAVERING_TICKS) - sliding(np.minimum, volts, WAVERING_TICKS)
        live = rows_before(self.volts_low, span, CALM_TICKS, 0) > self._circuits.off_volts
        self.calm[span] = sliding(np.logical_and, live, CALM_TICKS)


class _Rows(NamedTuple):
    """Readings that wait for their tick to be complete."""

    ticks: NDArray[np.intp]
    volts: Floats
    amps: Floats
    offset_volts: Floats

    def part(self, first: int, last: int | None) -> "_Rows":
        rows = slice(first, last)
        return _Rows(self.ticks[rows], self.volts[rows], self.amps[rows], self.offset_volts[rows])


def _joined(blocks: list[_Rows]) -> _Rows:
    return _Rows(
        np.concatenate([block.ticks for block in blocks]),
        np.concatenate([block.volts for block in blocks]),
        np.concatenate([block.amps for block in blocks]),
        np.concatenate([block.offset_volts for block in blocks]),
    )


def _ticks(at_s: Floats) -> NDArray[np.intp]:
    return np.floor(at_s / TICK_S + 1e-6).astype(np.intp)


def _tick(at_s: float) -> int:
    return int(np.floor(at_s / TICK_S + 1e-6))


def _usual(array: Floats, span: slice) -> Floats:
    """Median of the five rows that end with the last but one before each row of the span."""
    return medians_of_five(rows_before(array, span, 5, 2))
