"""Ticks of one supply on their way through its judge."""

import itertools
from collections.abc import Sequence

import numpy as np

from monitor.protection.recurrence import followed
from monitor.protection.supply_judge import SupplyJudge
from monitor.values import Warning as RaisedWarning
from monitor.values.arrays import Floats

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
        while take_quiet([self], LOOK_TICKS):
            pass
        return out


def take_quiet(stretches: Sequence[Stretch], most: int | None = None) -> bool:
    """Take the quiet ticks at the start of stretches of the same ticks, all that are at rest side by side.

    Args:
        stretches: Of different supplies, each with as many ticks left.
        most: So many ticks at most.

    Returns:
        True where there were any, and all of the last one's were quiet.
    """
    resting = [stretch for stretch in stretches if stretch.judge.is_at_rest and len(stretch.left(most))]
    if not resting:
        return False
    states = [stretch.judge.state for stretch in resting]
    edges = np.cumsum([0, *map(len, states)]).tolist()
    kept, gained = np.empty((2, len(resting[0].left(most)), edges[-1]))
    places = [slice(begin, end) for begin, end in itertools.pairwise(edges)]
    for stretch, place in zip(resting, places, strict=True):
        stretch.judge.fill(stretch.left(most), kept[:, place], gained[:, place])
    found = followed(np.concatenate(states), kept, gained)
    taken = 0
    for stretch, place in zip(resting, places, strict=True):
        taken = stretch.judge.skip(stretch.next, stretch.left(most), found[:, place])
        stretch.next += taken
    return taken == len(found)
