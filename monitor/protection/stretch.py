"""Ticks of one supply on their way through its watch."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from monitor.protection.recurrence import followed
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
        while self.watch.is_settled and len(figures := self.left(LOOK_TICKS)):
            calm = self.watch.skip(self.next, figures, followed(*self.watch.course(figures)))
            self.next += calm
            if calm < len(figures):
                break
        return out


def skip_calm(stretches: Sequence[Stretch]) -> None:
    """Skip the calm ticks at the start of stretches of the same ticks, all that are settled side by side."""
    settled = [stretch for stretch in stretches if stretch.watch.is_settled]
    if not settled:
        return
    courses = [stretch.watch.course(stretch.left()) for stretch in settled]
    start, kept, gained = (np.concatenate(parts, axis=-1) for parts in zip(*courses, strict=True))
    edges = np.cumsum([len(course[0]) for course in courses])[:-1]
    for stretch, states in zip(settled, np.split(followed(start, kept, gained), edges, axis=1), strict=True):
        stretch.next += stretch.watch.skip(stretch.next, stretch.left(), states)
