"""The stall rule: a track district draws far more than its laps ever took, and holds it flat, as a motor does that cannot turn.

So does a load that somebody switched on: the figures cannot tell, so the warning asks somebody to look.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.facts import thresholds as t
from monitor.facts.stillness import waver_share
from monitor.layout import Layout
from monitor.protection import thresholds as th
from monitor.protection import words
from monitor.protection.alarms import Alarms, Key
from monitor.protection.ticks import TICK_S
from monitor.values import Priority, Scope
from monitor.values import Warning as RaisedWarning
from monitor.values.arrays import Floats

LAPS_TICKS, KNOWN_TICKS, JUST_TICKS, FLAT_TICKS = (
    round(seconds / TICK_S) for seconds in (th.STALL_LAPS_S, th.STALL_KNOWN_S, 1.0, th.STALL_FLAT_S)
)


@dataclass(slots=True, kw_only=True)
class _Leap:
    """Amps that leapt above what laps took, and have not come back.

    Attributes:
        at_s: When.
        most: The most that laps took before.
        laps: Shape (n,): amps of the laps before; NaN where they do not count.
        still_s: When they last stood still; the leap before they ever did.
        stood: They stood still once: no lap is like it.
    """

    at_s: float
    most: float
    laps: Floats
    still_s: float
    stood: bool = False


class StallRule:
    """Watches the districts of one supply.

    Args:
        layout: Where they stand.
        supply: Its name.
        districts: Theirs, by column.
        alarms: Where warnings go.
    """

    def __init__(self, layout: Layout, supply: str, districts: tuple[str, ...], alarms: Alarms) -> None:
        self._supply, self._districts, self._alarms = supply, districts, alarms
        self._is_track = np.array([district.use == "track" for district in layout.districts_of_supply(supply)], dtype=bool)
        self._leaps: dict[int, _Leap] = {}  # by column
        self._stood_s: dict[int, list[tuple[float, float]]] = {}  # by column, from when to when: what a stall drew is no lap's

    @property
    def is_quiet(self) -> bool:
        """No district draws more than its laps did."""
        return not self._leaps

    def active_ticks(self, amps: Floats, squares: Floats) -> NDArray[np.bool_]:
        """Ticks in which it may begin, shape (n,).

        Args:
            amps: Shape (n, d).
            squares: Shape (n, d): amps squared, smoothed over a second up to each tick.
        """
        leapt: NDArray[np.bool_] = ((amps**2 > th.STALL_LEAP**2 * squares) & self._is_track).any(axis=1)
        return leapt

    def feed(self, at_s: float, amps: Floats, before: Floats, volts: Floats, history: Floats) -> list[RaisedWarning]:
        """Take one tick.

        Args:
            at_s: Its end.
            amps: Shape (d,).
            before: Shape (2, d): amps squared and VA smoothed over a second before this tick.
            volts: Shape (d,).
            history: Shape (n, d): amps of the last ticks, this one among them.
        """
        out: list[RaisedWarning] = []
        leapt = self.active_ticks(amps[None], before[:1])[0]
        for column in np.flatnonzero(self._is_track).tolist() if leapt or self._leaps else []:
            if column in self._leaps:
                out += self._follow(at_s, column, float(amps[column]), history)
            elif amps[column] ** 2 > th.STALL_LEAP**2 * before[0, column]:
                self._begin(at_s, column, amps, before, volts, history)
        return out

    def rest(self, at_s: float) -> list[RaisedWarning]:
        """The protection is open: no motor is under power, whatever stood still before."""
        return [warning for column in tuple(self._leaps) for warning in self._end(at_s, column, at_once=True)]

    def _key(self, column: int) -> Key:
        return "stalled", Scope(kind="district", name=self._districts[column])

    def _begin(self, at_s: float, column: int, amps: Floats, before: Floats, volts: Floats, history: Floats) -> None:
        laps = self._laps(at_s, column, history)
        past = laps[laps > th.STALL_RAN * amps[column]]
        turned_up = volts[column] * np.sqrt(before[0, column]) > th.STALL_TURNED_UP * before[1, column]
        if len(past) >= KNOWN_TICKS and not turned_up:
            most = float(np.quantile(past, th.STALL_QUANTILE))
            if amps[column] > th.STALL_TIMES * most:
                self._leaps[column] = _Leap(at_s=at_s, most=most, laps=laps, still_s=at_s)

    def _laps(self, at_s: float, column: int, history: Floats) -> Floats:
        """Amps of the last laps, shape (n,); NaN where it stood."""
        laps = history[-LAPS_TICKS - JUST_TICKS : -JUST_TICKS, column].copy()
        ends_s = at_s - TICK_S * (JUST_TICKS + np.arange(len(laps))[::-1])
        stood = self._stood_s.get(column, ())
        self._stood_s[column] = [(from_s, to_s) for from_s, to_s in stood if len(ends_s) and to_s > ends_s[0]]
        for from_s, to_s in self._stood_s[column]:
            laps[(ends_s > from_s - JUST_TICKS * TICK_S) & (ends_s <= to_s)] = np.nan
        return laps

    def _follow(self, at_s: float, column: int, amps: float, history: Floats) -> list[RaisedWarning]:
        leap = self._leaps[column]
        key = self._key(column)
        if at_s - leap.at_s >= th.STALL_FLAT_S + 1.0 and waver_share(leap.laps, history[-FLAT_TICKS:, column]) < t.STILL_SHARE:
            leap.still_s, leap.stood = at_s, True
        if not amps > th.STALL_BACK * leap.most or at_s - leap.still_s > th.STALL_MOVES_S:
            return self._end(at_s, column)
        if leap.still_s < at_s or self._alarms.standing(*key) is not None:
            return []
        wording = words.stalled(self._districts[column], amps, leap.most, at_s - leap.at_s)
        return self._alarms.raise_(at_s, key, Priority.LOW, wording, self._supply)

    def _end(self, at_s: float, column: int, *, at_once: bool = False) -> list[RaisedWarning]:
        leap = self._leaps.pop(column)
        if leap.stood:
            self._stood_s.setdefault(column, []).append((leap.at_s, at_s))
        return self._alarms.clear(at_s, self._key(column), self._supply, at_once=at_once)
