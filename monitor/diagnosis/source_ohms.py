"""Source ohms: what each supply's volts lose for each amp more, from the steps that loads make by themselves."""

from collections import deque

import numpy as np
from numpy.typing import NDArray

from monitor.facts.circuits import Circuits
from monitor.facts.medians import medians, middles
from monitor.facts.ticks import TICK_S, Ticks
from monitor.values import SlowFigure
from monitor.values.arrays import Floats

STEP_SHARE = 0.05  # of the rated amps: a smaller step drowns in the converter's own steps
HALF_TICKS = 3
STEPS_KEPT = 200
LEAST_STEPS = 5
HIGHEST_LOSS_SHARE = 0.6  # of the highest volts at rated amps: more is no winding's doing


class SourceOhms:
    """Estimates each supply's source impedance (Thevenin): minus the change of volts over the change of amps.

    Volts are taken at the neighbours of the district that changed, where it has any.

    Steps count in which one district alone changed, and its own volts went the other way; the throttle, the mains and DC
    signals move volts and amps alike or leave the amps.
    """

    def __init__(self, circuits: Circuits, ticks: Ticks) -> None:
        self._circuits = circuits
        self._ticks = ticks
        self._next: int | None = None
        self._steps: list[deque[float]] = [deque(maxlen=STEPS_KEPT) for _ in circuits.supplies]
        self._told = [0] * len(circuits.supplies)

    def advance(self) -> None:
        """Look at the ticks completed since."""
        ticks = self._ticks
        first = ticks.base + 2 * HALF_TICKS if self._next is None else self._next
        last = ticks.real_end - 2 * HALF_TICKS
        if last <= first:
            return
        self._next = last
        rows = ticks.rows(first - 2 * HALF_TICKS, last + 2 * HALF_TICKS)
        volts, amps = ticks.volts[rows], ticks.amps[rows]
        # A step shows between two ticks next but one; medians of three on either side measure it.
        rise = amps[2 * HALF_TICKS + 1 : -2 * HALF_TICKS + 1] - amps[2 * HALF_TICKS - 1 : -2 * HALF_TICKS - 1]
        least = STEP_SHARE * self._circuits.rated_amps[self._circuits.supply_of]
        at, district = np.nonzero(np.abs(rise) > least)
        if len(at):
            self._measure(volts, amps, at + 2 * HALF_TICKS, district)

    def figures(self) -> list[SlowFigure]:
        """Supplies whose figure is new or rests on more steps by a tenth."""
        found = []
        for supply, name in enumerate(self._circuits.supplies):
            steps = self._steps[supply]
            if len(steps) >= LEAST_STEPS and len(steps) > 1.1 * self._told[supply]:
                self._told[supply] = len(steps)
                low, middle, high = np.quantile(np.array(steps), [0.25, 0.5, 0.75]).tolist()
                found.append(
                    SlowFigure(
                        kind="source-ohms",
                        name=name,
                        value=middle,
                        reference=None,
                        spread=(high - low) / 2,
                        count=len(steps),
                        at_s=self._ticks.real_end * TICK_S,
                    )
                )
        return found

    def ohms(self) -> dict[str, float]:
        """The estimates so far, by supply; only where enough steps were seen."""
        found = zip(self._circuits.supplies, self._steps, strict=True)
        return {name: float(np.median(np.array(steps))) for name, steps in found if len(steps) >= LEAST_STEPS}

    def _measure(self, volts: Floats, amps: Floats, at: NDArray[np.intp], district: NDArray[np.intp]) -> None:
        """Steps found at these rows of volts and amps, each in its district; shape (k,)."""
        circuits, steps = self._circuits, np.arange(len(at))
        supply = circuits.supply_of[district]
        near = circuits.supply_of == supply[:, None]
        fall, rise = -_change(volts, at), _change(amps, at)
        own, rated = rise[steps, district], circuits.rated_amps[supply]
        others = np.abs(np.where(near, rise, 0.0)).sum(axis=1) - np.abs(own)
        # A neighbour loses what the shared winding loses; the district itself also what its own output and feeder lose.
        beside = near & (fall != 0) & (volts[at] > circuits.off_volts)
        beside[steps, district] = False
        for step in np.flatnonzero(~((np.abs(own) < STEP_SHARE * rated) | (others > 0.3 * np.abs(own)))).tolist():
            lost = middles(fall[step, beside[step]]) if beside[step].any() else fall[step, district[step]]
            ohms = float(lost) / float(own[step])
            if 0 < ohms < HIGHEST_LOSS_SHARE * float(circuits.max_volts[district[step]]) / float(rated[step]):
                self._steps[int(supply[step])].append(ohms)


def _change(values: Floats, at: NDArray[np.intp]) -> Floats:
    """From a little before some rows to a little after, each of them and all districts: shape (k, d)."""
    after, before = (medians(values[at[:, None] + np.arange(first, first + HALF_TICKS)], 1) for first in (2, -1 - HALF_TICKS))
    return after - before
