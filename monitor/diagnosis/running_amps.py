"""Running amps: what each district's trains draw at unchanged volts, minute by minute: a motor that tires draws more."""

import numpy as np

from monitor.facts.circuits import Circuits
from monitor.facts.medians import median, middles, quantiles
from monitor.facts.ticks import TICK_S, Ticks
from monitor.values import SlowFigure

MINUTE_TICKS = 600
SAME_VOLTS_SHARE = 0.03
COMPARED = 5
KEPT = 600


class RunningAmps:
    """Compares the last minutes with the first ones at the same volts."""

    def __init__(self, circuits: Circuits, ticks: Ticks) -> None:
        self._circuits = circuits
        self._ticks = ticks
        self._next: int | None = None
        self._minutes = [np.zeros((0, 2)) for _ in circuits.districts]

    def advance(self) -> list[SlowFigure]:
        """Figures of the minutes completed since."""
        if self._next is None:
            self._next = self._ticks.base + MINUTE_TICKS
        found = []
        while self._ticks.real_end >= self._next:
            rows = self._ticks.rows(self._next - MINUTE_TICKS, self._next)
            self._next += MINUTE_TICKS
            volts, amps = self._ticks.volts[rows], self._ticks.amps[rows]
            usual = middles(volts)
            steady = np.abs(volts - usual) < SAME_VOLTS_SHARE * usual
            long = (usual > self._circuits.off_volts) & (steady.mean(axis=0) >= 0.8) & self._circuits.is_track
            for district in np.flatnonzero(long).tolist():
                running = float(middles(amps[steady[:, district], district]))
                found += self._minute(district, float(usual[district]), running)
        return found

    def _minute(self, district: int, volts: float, amps: float) -> list[SlowFigure]:
        minutes = np.concatenate([self._minutes[district], [[volts, amps]]])
        if len(minutes) > KEPT:
            minutes = np.delete(minutes, 1, axis=0)  # the very first is what later ones are compared with
        self._minutes[district] = minutes
        alike = minutes[np.abs(minutes[:, 0] - volts) < SAME_VOLTS_SHARE * volts, 1]
        if len(alike) < 2 * COMPARED:
            return []
        late = alike[-COMPARED:]
        low, middle, high = quantiles(late, (0.25, 0.5, 0.75))
        return [
            SlowFigure(
                kind="running-amps",
                name=self._circuits.districts[district],
                value=middle,
                reference=median(alike[:COMPARED]),
                spread=(high - low) / 2,
                count=len(alike),
                at_s=(self._next or 0) * TICK_S,
            )
        ]
