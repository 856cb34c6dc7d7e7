"""Loop ohms: what a feeder out and back really has, from volts at both its ends; more than its wire's is a joint."""

import math
from collections import deque

import numpy as np

from monitor.layout import Layout
from monitor.layout.ratings import loop_ohms
from monitor.values import ReadingBlock, SlowFigure
from monitor.values.arrays import Floats

EVERY_S = 60.0
MINUTES = 10
"""The figure is the median of the last so many minutes' ones."""
LEAST_ROWS = 200
LEAST_AMPS = 0.3
LEAST_SPREAD_AMPS = 0.1  # amps must vary for a slope to mean anything


class LoopOhms:
    """Regresses the volts lost along each measured feeder on its amps, minute by minute."""

    def __init__(self, layout: Layout) -> None:
        self._feeders = {d.name: d.feeder for d in layout.district if d.far_volts_channel is not None}
        self._sums = {name: np.zeros(5) for name in self._feeders}
        self._minutes: dict[str, deque[float]] = {name: deque(maxlen=MINUTES) for name in self._feeders}
        self._until_s = dict.fromkeys(self._feeders, -math.inf)

    def take(self, block: ReadingBlock) -> list[SlowFigure]:
        """Take readings; figures of the minutes that ended with them."""
        found = []
        for column, name in enumerate(block.districts):
            if name not in self._feeders:
                continue
            minutes = np.floor(block.end_s / EVERY_S)
            for minute in np.unique(minutes).tolist():
                if (minute + 1) * EVERY_S != self._until_s[name]:
                    found += self._figure(name)
                    self._until_s[name] = (minute + 1) * EVERY_S
                rows = minutes == minute
                self._sums[name] += _sums(block.amps_rms[rows, column], (block.volts_rms - block.far_volts_rms)[rows, column])
        return found

    def finish(self) -> list[SlowFigure]:
        """The figures of the minute that was going on."""
        return [figure for name in self._feeders for figure in self._figure(name)]

    def _figure(self, name: str) -> list[SlowFigure]:
        n, amps, lost, amps_squared, both = self._sums[name].tolist()
        self._sums[name] = np.zeros(5)
        if n < LEAST_ROWS or amps / n < LEAST_AMPS:
            return []
        spread = amps_squared - amps**2 / n
        varied = spread / n > LEAST_SPREAD_AMPS**2
        # Steady amps give no slope; then the loss over the amps must do, which trusts both volt channels' zero and gain.
        self._minutes[name].append((both - amps * lost / n) / spread if varied else both / amps_squared)
        low, middle, high = np.quantile(np.array(self._minutes[name]), [0.25, 0.5, 0.75]).tolist()
        feeder = self._feeders[name]
        return [
            SlowFigure(
                kind="loop-ohms",
                name=name,
                value=middle,
                reference=None if feeder is None else loop_ohms(feeder),
                spread=(high - low) / 2,
                count=len(self._minutes[name]),
                at_s=self._until_s[name],
            )
        ]


def _sums(amps: Floats, lost: Floats) -> Floats:
    good = np.isfinite(amps) & np.isfinite(lost)
    x, y = amps[good], lost[good]
    return np.array([len(x), x.sum(), y.sum(), (x * x).sum(), (x * y).sum()])
