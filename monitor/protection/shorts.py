"""Hard shorts, straight from one-cycle readings: no waiting for a tick."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.facts import thresholds as t
from monitor.protection import thresholds as th
from monitor.values import ReadingBlock
from monitor.values.arrays import Floats

BACK_ROWS = 12
"""Volts before are those this many rows earlier: a tenth of a second at half-cycle rate."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortSeen:
    """A short that was found (began) or is over.

    Attributes:
        at_s: When it was known.
        column: Which district of the board.
        began: True at its start, False at its end.
        amps: What flowed.
        volts: What was left.
    """

    at_s: float
    column: int
    began: bool
    amps: float
    volts: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Looks:
    """What each reading looks like; shape (n, d) each.

    Attributes:
        suspect: Like a short.
        sure: Like nothing else, cold filaments and standing rotors included.
        much: Far too much is drawn.
    """

    suspect: NDArray[np.bool_]
    sure: NDArray[np.bool_]
    much: NDArray[np.bool_]


class ShortDetector:
    """Watches the districts of one board.

    Args:
        capable_amps: Shape (d,): what each district's supply may give for good.
        max_volts: Shape (d,): highest volts of each district's supply.
    """

    def __init__(self, capable_amps: Floats, max_volts: Floats) -> None:
        self._capable_amps = capable_amps
        self._max_volts = max_volts
        self._tail = np.full((BACK_ROWS, len(capable_amps)), np.nan)
        self._since_s = np.full(len(capable_amps), np.nan)
        self._last_s = np.full(len(capable_amps), np.nan)
        self._dead_s = np.full(len(capable_amps), -np.inf)
        self._announced = np.zeros(len(capable_amps), dtype=bool)

    def feed(self, block: ReadingBlock) -> list[ShortSeen]:
        """Shorts that began or ended, in order of time."""
        volts, amps, times = block.volts_rms, block.amps_rms, block.end_s
        if not len(times):
            return []
        history = np.concatenate([self._tail, volts])
        before = history[: len(volts)]
        self._tail = history[len(volts) :]
        usual = np.where(before > th.LIT_VOLTS * self._max_volts, before, th.USUAL_VOLTS * self._max_volts)
        with np.errstate(invalid="ignore"):
            is_much = amps > th.SHORT_TIMES * self._capable_amps
            is_lit = before > th.LIT_VOLTS * self._max_volts
            has_collapsed = (volts < th.SHORT_COLLAPSE * before) & is_lit
            beyond = (amps > t.SHORT_BEYOND * self._capable_amps) & (volts < t.SHORT_BEYOND_SHARE * before) & is_lit
            suspect = beyond | is_much & ((volts < th.SHORT_OHMS * usual * amps / self._capable_amps) | has_collapsed)
            dead = (volts < th.DARK_VOLTS * self._max_volts) & (amps < th.DARK_AMPS * self._capable_amps)
        found: list[ShortSeen] = []
        looks = _Looks(suspect=suspect, sure=is_much & (volts < th.SHORT_SURE * usual * amps / self._capable_amps), much=is_much)
        for column in np.flatnonzero(
            suspect.any(axis=0) | dead.any(axis=0) | self._announced | np.isfinite(self._since_s)
        ).tolist():
            found += self._column(column, times, looks, dead[:, column], (amps[:, column], volts[:, column]))
        return sorted(found, key=lambda seen: (seen.at_s, seen.column))

    def _column(
        self, column: int, times: Floats, looks: "_Looks", dead: NDArray[np.bool_], figures: tuple[Floats, Floats]
    ) -> list[ShortSeen]:
        found = []
        last_dead = np.maximum.accumulate(np.where(dead, times, self._dead_s[column]))
        self._dead_s[column] = last_dead[-1]
        suspect, sure = looks.suspect[:, column], looks.sure[:, column]
        for row in np.flatnonzero(suspect | looks.much[:, column]).tolist():
            at_s = float(times[row])
            if self._announced[column] and at_s - self._last_s[column] > th.SHORT_CLEAR_S:
                found.append(self._end(column))
            if not suspect[row]:
                # One that sparks goes on as long as much is drawn, whatever the volts of the moment.
                self._last_s[column] = at_s if self._announced[column] else self._last_s[column]
                continue
            if np.isnan(self._since_s[column]) or at_s - self._last_s[column] > th.SHORT_CLEAR_S:
                self._since_s[column] = at_s
            self._last_s[column] = at_s
            settling = self._since_s[column] - last_dead[row] < th.SHORT_SETTLE_S and not sure[row]
            if not self._announced[column] and (not settling or at_s - self._since_s[column] >= th.SHORT_SETTLE_S):
                self._announced[column] = True
                found.append(
                    ShortSeen(at_s=at_s, column=column, began=True, amps=float(figures[0][row]), volts=float(figures[1][row]))
                )
        if times[-1] - self._last_s[column] > th.SHORT_CLEAR_S:
            if self._announced[column]:
                found.append(self._end(column))
            self._since_s[column] = np.nan
        return found

    def _end(self, column: int) -> ShortSeen:
        self._announced[column] = False
        return ShortSeen(at_s=float(self._last_s[column]) + th.SHORT_CLEAR_S, column=column, began=False, amps=0.0, volts=0.0)
