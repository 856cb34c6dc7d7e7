"""Presence: when a train is in a district, and which districts hand trains to one another."""

import numpy as np
from numpy.typing import NDArray

from monitor.facts.medians import medians, quantiles
from monitor.values.arrays import Floats

Bools = NDArray[np.bool_]

LEAST_AMPS = 0.03
LEAST_DUTY = 0.08
MIDDLE_SHARE = 0.06
GAP_TICKS = 15  # a train takes a second or two to roll over
BESIDE_TICKS = 10
LEAST_HAND_OVERS = 3
LASTING_TICKS = 20
LEAST_OPPOSITE = 0.4
OFTEN = 0.6


def train_present(amps: Floats, live: Bools) -> tuple[Bools, bool]:
    """Ticks at which a train draws, shape (n,), and whether the amps tell; where not, all live ticks count.

    Args:
        amps: Amps of each tick, shape (n,).
        live: Ticks at which the volts are up.
    """
    if live.sum() < 50:
        return live, False
    low, high = quantiles(amps[live], (0.02, 0.9))
    span = high - low
    if not span > 0.8 * low + LEAST_AMPS:
        return live, False
    between = (amps > low + 0.2 * span) & (amps < low + 0.5 * span) & live
    present = _lasting((amps > low + 0.35 * span) & live)
    duty = present.sum() / live.sum()
    two_states = between.sum() < MIDDLE_SHARE * live.sum() and LEAST_DUTY < 1 - duty < 1 - LEAST_DUTY
    return (present, True) if two_states else (live, False)


def _lasting(present: Bools) -> Bools:
    """Without states that last a moment only: a lost contact is no departure."""
    starts = np.concatenate([[0], np.flatnonzero(np.diff(present.astype(np.int8))) + 1])
    lengths = np.diff(starts, append=len(present))
    lasting = np.maximum.accumulate(np.where(lengths >= LASTING_TICKS, np.arange(len(starts)), 0))
    return np.repeat(present[starts][lasting], lengths)


def hand_overs(present: list[Bools], two_states: Bools, amps: list[Floats]) -> Bools:
    """Which districts hand trains to one another, shape (d, d): what leaves the row's district comes into the column's.

    Args:
        present: Of each of d districts, shape (ticks,).
        two_states: Shape (d,): districts whose amps tell when a train is there.
        amps: Of each district, shape (ticks,).
    """
    linked = np.zeros((len(amps), len(amps)), dtype=np.bool_)
    if not two_states.any():
        return linked
    together = np.stack(amps).T
    for district in np.flatnonzero(two_states).tolist():
        at = np.flatnonzero(np.diff(present[district].astype(np.int8))) + 1
        at = at[(at > BESIDE_TICKS + GAP_TICKS) & (at < len(together) - BESIDE_TICKS - GAP_TICKS)]
        if len(at) < LEAST_HAND_OVERS:
            continue
        change = _beside(together, at, GAP_TICKS) - _beside(together, at, -GAP_TICKS - BESIDE_TICKS)
        share = change / change[:, [district]]
        opposite = (share < -LEAST_OPPOSITE) & (share > -1 / LEAST_OPPOSITE)
        linked[district] = (opposite.sum(axis=0) >= LEAST_HAND_OVERS) & (opposite.mean(axis=0) > OFTEN)
    np.fill_diagonal(linked, val=False)
    return linked | linked.T


def _beside(amps: Floats, at: NDArray[np.intp], offset: int) -> Floats:
    """Medians of the ticks a little before or after some moments, shape (moments, d)."""
    return medians(np.stack([amps[at + offset + k] for k in range(BESIDE_TICKS)]), 0)
