"""A journey: how far the trains of one district went, tick by tick, and what came between."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.diagnosis.laps import SPEED_POWERS, paces
from monitor.diagnosis.spot_filter import Gone
from monitor.facts.ticks import KEPT_TICKS, TICK_S
from monitor.values.arrays import Floats

Bools = NDArray[np.bool_]

LEAST_SHARE = 0.2  # of the usual volts: no train moves on less


class Journey:
    """The way gone since watching began.

    Attributes:
        usual_volts: At which a train goes one second of way a second.
        start_s: From when on it is still known.
        end_s: Until when it is known.
    """

    def __init__(self, start_s: float, usual_volts: float) -> None:
        self.usual_volts = usual_volts
        self.start_s = start_s
        self._way_s = np.zeros((len(SPEED_POWERS), 1))
        self._moved_s = np.zeros((len(SPEED_POWERS), 1))
        self._here = np.zeros(0, dtype=np.bool_)
        self._stops = np.zeros((2, 1), dtype=np.intp)

    @property
    def end_s(self) -> float:
        """Until when the way is known."""
        return self.start_s + len(self._here) * TICK_S

    def extend(self, volts: Floats, runs: Bools, here: Bools, breaks: Bools) -> None:
        """Go on by some ticks.

        Args:
            volts: Shape (n,).
            runs: Shape (n,): the train moves.
            here: Shape (n,): it is in this district.
            breaks: Shape (n,): a hand broke the volts in this tick.
        """
        steps = paces(volts, self.usual_volts, runs) * TICK_S
        # Volts that are not known are no way, and must not make all that follows unknown.
        bent = np.log(np.fmax(volts, LEAST_SHARE * self.usual_volts) / self.usual_volts) ** 2
        self._way_s = _gone_on(self._way_s, steps)
        self._moved_s = _gone_on(self._moved_s, steps * bent)
        self._here = np.concatenate([self._here, here])
        starts = runs & ~np.concatenate([[True], runs[:-1]])
        self._stops = _gone_on(self._stops, np.stack([starts, breaks]))
        extra = len(self._here) - KEPT_TICKS
        if extra > KEPT_TICKS // 4:
            self._way_s, self._moved_s = self._way_s[:, extra:], self._moved_s[:, extra:]
            self._stops = self._stops[:, extra:]
            self._here = self._here[extra:]
            self.start_s += extra * TICK_S

    def at(self, moment_s: float) -> Floats:
        """Way gone by then, shape (powers,)."""
        return self._at(self._way_s, moment_s)

    def moved_at(self, moment_s: float) -> Floats:
        """The same times the squared logarithm of volts over usual volts: how much of it went at unusual speed."""
        return self._at(self._moved_s, moment_s)

    def _at(self, summed: Floats, moment_s: float) -> Floats:
        place = float(np.clip((moment_s - self.start_s) / TICK_S, 0, len(self._here)))
        low = min(int(place), max(len(self._here) - 1, 0))
        before, after = summed[:, low], summed[:, min(low + 1, len(self._here))]
        return np.asarray(before + (place - low) * (after - before))

    def between(self, first_s: float, last_s: float) -> list[Gone]:
        """What happened between two moments, stretch by stretch of being here or away."""
        first, last = (int(np.clip(round((s - self.start_s) / TICK_S), 0, len(self._here))) for s in (first_s, last_s))
        changes = np.flatnonzero(np.diff(self._here[first:last].astype(np.int8))) + first + 1
        edges = [first, *changes.tolist(), last]
        moments = [first_s, *(self.start_s + edge * TICK_S for edge in edges[1:-1]), last_s]
        return [
            Gone(
                way_s=self.at(until_s) - self.at(from_s),
                moved_s=self.moved_at(until_s) - self.moved_at(from_s),
                here=bool(self._here[low]) if low < len(self._here) else True,
                restarts=int(self._stops[0, high] - self._stops[0, low]),
                breaks=int(self._stops[1, high] - self._stops[1, low]),
            )
            for low, high, from_s, until_s in zip(edges[:-1], edges[1:], moments[:-1], moments[1:], strict=True)
        ]


def _gone_on(summed: NDArray[Any], steps: NDArray[Any]) -> NDArray[Any]:
    return np.concatenate([summed, summed[:, -1:] + np.cumsum(steps, axis=1)], axis=1)
