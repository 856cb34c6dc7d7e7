"""Ticks of one supply on their way through its judge."""

import numpy as np
from numpy.typing import NDArray

from monitor.protection.supply_judge import SupplyJudge
from monitor.values import Warning as RaisedWarning

Floats = NDArray[np.float64]
LOOK_TICKS = 64
"""How far a supply that has just become quiet is looked ahead: one that is soon active again costs no more than that."""


class Stretch:
    """Some ticks of one supply.

    Args:
        judge: The supply's.
        first: Number of the first tick.
        figures: Shape (n, 3, d): volts, amps and VA of its districts; NaN where unknown.

    Attributes:
        next: Number of the tick that is to be judged next; those before it are done.
    """

    def __init__(self, judge: SupplyJudge, first: int, figures: Floats) -> None:
        self.judge = judge
        self.next = first
        self.first = first
        self._figures = figures

    def left(self, most: int | None = None) -> Floats:
        """Figures of the ticks that are not done, the first of them at most."""
        begin = self.next - self.first
        return self._figures[begin : None if most is None else begin + most]

    def take_one(self) -> list[RaisedWarning]:
        """Judge the next tick, and take the quiet ones behind it."""
        out = self.judge.feed(self.next, *self._figures[self.next - self.first])
        self.next += 1
        while self.take_quiet(LOOK_TICKS):
            pass
        return out

    def take_quiet(self, most: int | None = None) -> bool:
        """Take quiet ticks, so many at most; True where all of these were quiet and there were any."""
        figures = self.left(most)
        if not self.judge.is_at_rest or not len(figures):
            return False
        quiet = self.judge.skip(self.next, figures, self.judge.course(figures))
        self.next += quiet
        return quiet == len(figures)
