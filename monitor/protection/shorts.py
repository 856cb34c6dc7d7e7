"""Hard shorts, straight from one-cycle readings: no waiting for a tick."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.values import ReadingBlock

Floats = NDArray[np.float64]
BACK_ROWS = 12
"""Volts before are those this many rows earlier: a tenth of a second at half-cycle rate."""
AMPS_TIMES = 1.8
"""A short draws at least this many times what the supply may give for good."""
OHMS_SHARE = 0.18
"""A short's volts over amps is below this share of the usual volts over what the supply may give: an overload of three times
the rating has a third, and filaments that are cold (a tenth of their hot ohms) on two thirds of a supply have 0.15 for less
than a tenth of a second after switching on."""
COLLAPSE = 0.5
"""Or its volts fall to this share at once: a weak supply, with a third of its volts lost at its rating, keeps more at 1.8 times."""
CLEAR_S = 0.5
SETTLE_S, SURE_SHARE = 0.3, 0.1
"""After power comes back, only a short that lasts this long counts, filaments are cold and rotors stand; or one of fewer ohms
than those could have together."""


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
        usual = np.where(before > 0.1 * self._max_volts, before, 0.6 * self._max_volts)
        with np.errstate(invalid="ignore"):
            is_much = amps > AMPS_TIMES * self._capable_amps
            has_collapsed = (volts < COLLAPSE * before) & (before > 0.1 * self._max_volts)
            suspect = is_much & ((volts < OHMS_SHARE * usual * amps / self._capable_amps) | has_collapsed)
            dead = (volts < 0.05 * self._max_volts) & (amps < 0.1 * self._capable_amps)
        found: list[ShortSeen] = []
        looks = _Looks(suspect=suspect, sure=is_much & (volts < SURE_SHARE * usual * amps / self._capable_amps), much=is_much)
        for column in np.flatnonzero(suspect.any(axis=0) | dead.any(axis=0) | self._announced | np.isfinite(self._since_s)).tolist():
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
            if self._announced[column] and at_s - self._last_s[column] > CLEAR_S:
                found.append(self._end(column))
            if not suspect[row]:
                # One that sparks goes on as long as much is drawn, whatever the volts of the moment.
                self._last_s[column] = at_s if self._announced[column] else self._last_s[column]
                continue
            if np.isnan(self._since_s[column]) or at_s - self._last_s[column] > CLEAR_S:
                self._since_s[column] = at_s
            self._last_s[column] = at_s
            settling = self._since_s[column] - last_dead[row] < SETTLE_S and not sure[row]
            if not self._announced[column] and (not settling or at_s - self._since_s[column] >= SETTLE_S):
                self._announced[column] = True
                found.append(
                    ShortSeen(at_s=at_s, column=column, began=True, amps=float(figures[0][row]), volts=float(figures[1][row]))
                )
        if times[-1] - self._last_s[column] > CLEAR_S:
            if self._announced[column]:
                found.append(self._end(column))
            self._since_s[column] = np.nan
        return found

    def _end(self, column: int) -> ShortSeen:
        self._announced[column] = False
        return ShortSeen(at_s=float(self._last_s[column]) + CLEAR_S, column=column, began=False, amps=0.0, volts=0.0)
