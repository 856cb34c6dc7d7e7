"""Presence: when a train is in a district, and which districts hand trains to one another."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEAST_DUTY = 0.08
MIDDLE_SHARE = 0.06
TOGETHER_TICKS = 5
LEAST_HAND_OVERS = 2


def train_present(amps: Floats, live: Bools) -> Bools:
    """Ticks at which a train draws, shape (n,); all live ones where the amps do not fall into two clear states.

    Args:
        amps: Amps of each tick, shape (n,).
        live: Ticks at which the volts are up.
    """
    if live.sum() < 50:
        return live
    low, high = np.quantile(amps[live], [0.02, 0.9])
    span = high - low
    between = (amps > low + 0.2 * span) & (amps < low + 0.5 * span) & live
    present = (amps > low + 0.35 * span) & live
    duty = present.sum() / live.sum()
    two_states = span > 0.8 * low + 0.1 and between.sum() < MIDDLE_SHARE * live.sum() and LEAST_DUTY < 1 - duty < 1 - LEAST_DUTY
    return present if two_states else live


def hand_overs(present: Bools) -> NDArray[np.intp]:
    """How often a train left one district as one came into another, shape (d, d), from row to column.

    Args:
        present: Shape (ticks, d).
    """
    change = np.diff(present.astype(np.int8), axis=0)
    left, came = (change < 0).astype(np.int32), change > 0
    width = np.ones(2 * TOGETHER_TICKS + 1, dtype=np.int32)
    counts = np.zeros((present.shape[1], present.shape[1]), dtype=np.intp)
    for district in range(present.shape[1]):
        if came[:, district].any():
            near = np.convolve(came[:, district], width, mode="same") > 0
            counts[:, district] = (left * near[:, None]).sum(axis=0)
    np.fill_diagonal(counts, 0)
    return counts
