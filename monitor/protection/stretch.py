"""Ticks of one supply on their way through its watch."""

import numpy as np
from numpy.typing import NDArray

from monitor.protection.supply_judge import SupplyJudge
from monitor.values import Warning as RaisedWarning

Floats = NDArray[np.float64]
LOOK_TICKS = 64
"""How far a supply that has just settled is looked ahead: what stirs again soon costs no more than that."""


class Stretch:
    """Some ticks of one supply.

    Args:
        watch: The supply's.
        first: Number of the first tick.
        figures: Shape (n, 3, d): volts, amps and VA of its districts; NaN where unknown.

    Attributes:
        next: Number of the tick that is to be judged next; those before it are done.
    """

    def __init__(self, watch: SupplyJudge, first: int, figures: Floats) -> None:
        self.watch = watch
        self.next = first
        self.first = first
        self._figures = figures

    def left(self, most: int | None = None) -> Floats:
        """Figures of the ticks that are not done, the first of them at most."""
        begin = self.next - self.first
        return self._figures[begin : None if most is None else begin + most]

    def judge_one(self) -> list[RaisedWarning]:
        """Judge the next tick, and skip those behind it that are calm."""
        out = self.watch.feed(self.next, *self._figures[self.next - self.first])
        self.next += 1
        while self.skip_calm(LOOK_TICKS):
            pass
        return out

    def skip_calm(self, most: int | None = None) -> bool:
        """Skip calm ticks, so many at most; True where all of these were calm and there were any."""
        figures = self.left(most)
        if not self.watch.is_settled or not len(figures):
            return False
        calm = self.watch.skip(self.next, figures, self.watch.course(figures))
        self.next += calm
        return calm == len(figures)
