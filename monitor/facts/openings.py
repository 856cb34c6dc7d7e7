"""Openings: ticks at which a district's feed is open, though some volts are left to measure there."""

import numpy as np
from numpy.typing import NDArray

from monitor.facts import thresholds as t
from monitor.facts.circuits import Circuits
from monitor.values.arrays import Floats


class Openings:
    """Finds open feeds among ticks and writes their volts as zero.

    A running DC motor coasts and feeds its own volts back into the rails, so an open feed is told by amps that vanish
    while volts fall: a lost contact of a wheel lets them rise. On AC something may leak past a hand's switch.
    """

    def __init__(self, circuits: Circuits) -> None:
        self._zero_amps = zero_amps(circuits)
        self._is_dc = ~circuits.is_ac
        self._volts_before = np.zeros(len(circuits))

    def close_off(self, volts: tuple[Floats, Floats, Floats], amps: tuple[Floats, Floats], usual: tuple[Floats, Floats]) -> None:
        """Write zero volts where a feed is open.

        Args:
            volts: Means, lows and highs of the new ticks, each of shape (n, d), changed in place.
            amps: Lows and highs, shape (n, d).
            usual: Usual volts and amps before each tick, shape (n, d).
        """
        fell = (volts[1] < t.FEED_DEAD_SHARE * usual[0]) & (amps[0] < 0.5 * usual[1])
        coasts = (
            self._is_dc
            & (amps[0] < self._zero_amps)
            & (volts[1] < t.FEED_FELL_SHARE * usual[0])
            & (usual[1] > 3 * self._zero_amps)
        )
        begins = fell | coasts
        for d in np.flatnonzero(begins.any(axis=0) | (self._volts_before > 0)).tolist():
            self._close_off_one(d, [v[:, d] for v in volts], [a[:, d] for a in amps], (begins[:, d], usual[0][:, d]))

    def _close_off_one(self, d: int, volts: list[Floats], amps: list[Floats], onset: tuple[NDArray[np.bool_], Floats]) -> None:
        mean, low, high = volts
        begins, usual = onset
        at, n = 0, len(mean)
        while at < n:
            if not self._volts_before[d]:
                found = int(np.argmax(begins[at:])) + at
                if not begins[found]:
                    return
                self._volts_before[d] = usual[found]
                low[found] = 0.0
                at = found + 1
                continue
            back = high[at:] > t.FEED_BACK_SHARE * self._volts_before[d]
            if self._is_dc[d]:
                back &= (amps[1][at:] > 2 * self._zero_amps[d]) | (mean[at:] > 0.95 * self._volts_before[d])
            end = at + int(np.argmax(back)) if back.any() else n
            for values in volts:
                values[at:end] = 0.0
            if end < n:
                if low[end] < t.FEED_DEAD_SHARE * self._volts_before[d] or (self._is_dc[d] and amps[0][end] < self._zero_amps[d]):
                    low[end] = 0.0
                self._volts_before[d] = 0.0
            at = end + 1


def zero_amps(circuits: Circuits) -> Floats:
    """Amps that count as none, shape (d,)."""
    return np.asarray(t.FEED_ZERO_SHARE * circuits.rated_amps[circuits.supply_of])
