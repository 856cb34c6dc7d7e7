"""The stall rule: a track district draws far more than its laps ever took, and holds it flat, as a motor does that cannot turn.

So does a load that somebody switched on: the figures cannot tell, so the warning asks somebody to look.
"""

import numpy as np
from numpy.typing import NDArray

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
        self._since_s: dict[int, tuple[float, float]] = {}  # by column: when the amps leapt, and the most that laps took before

    @property
    def is_quiet(self) -> bool:
        """No district draws more than its laps did."""
        return not self._since_s

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
        for column in np.flatnonzero(self._is_track).tolist() if leapt or self._since_s else []:
            if column in self._since_s:
                out += self._follow(at_s, column, float(amps[column]), history)
            elif amps[column] ** 2 > th.STALL_LEAP**2 * before[0, column]:
                self._begin(at_s, column, amps, before, volts, history)
        return out

    def rest(self, at_s: float) -> list[RaisedWarning]:
        """The protection is open: no motor is under power, whatever stood still before."""
        out: list[RaisedWarning] = []
        for column in self._since_s:
            out += self._alarms.clear(at_s, self._key(column), self._supply, at_once=True)
        self._since_s.clear()
        return out

    def _key(self, column: int) -> Key:
        return "stalled", Scope(kind="district", name=self._districts[column])

    def _begin(self, at_s: float, column: int, amps: Floats, before: Floats, volts: Floats, history: Floats) -> None:
        past = history[-LAPS_TICKS - JUST_TICKS : -JUST_TICKS, column]
        past = past[past > th.STALL_RAN * amps[column]]
        turned_up = volts[column] * np.sqrt(before[0, column]) > th.STALL_TURNED_UP * before[1, column]
        if len(past) >= KNOWN_TICKS and not turned_up:
            most = float(np.quantile(past, th.STALL_QUANTILE))
            if amps[column] > th.STALL_TIMES * most:
                self._since_s[column] = at_s, most

    def _follow(self, at_s: float, column: int, amps: float, history: Floats) -> list[RaisedWarning]:
        since_s, most = self._since_s[column]
        key = self._key(column)
        if not amps > th.STALL_BACK * most or at_s - since_s > th.STALL_LAPS_S:
            del self._since_s[column]
            return self._alarms.clear(at_s, key, self._supply)
        last = history[-FLAT_TICKS:, column]
        if (
            at_s - since_s < th.STALL_FLAT_S + 1.0
            or np.ptp(last) > th.STALL_FLAT * amps
            or self._alarms.standing(*key) is not None
        ):
            return []
        wording = words.stalled(self._districts[column], amps, most, at_s - since_s)
        return self._alarms.raise_(at_s, key, Priority.LOW, wording, self._supply)
