"""What a draw did lap after lap, and so what it will do next."""

import numpy as np
from numpy.typing import NDArray

from monitor.protection.ticks import TICK_S

Floats = NDArray[np.float64]
SHORTEST_S, LONGEST_S = 3.0, 60.0
ALIKE = 0.6
"""Least correlation of a draw with itself one lap earlier."""
STEADY = 0.2
"""A draw squared that differs from the lap before by less than this share keeps to it."""


def lap_ticks(squares: Floats) -> int | None:
    """The period of a draw in ticks, found where its autocorrelation peaks first; None where it does not repeat.

    Args:
        squares: Shape (n,): amps squared of the last ticks; two laps at least are needed.
    """
    count = len(squares)
    shortest, longest = round(SHORTEST_S / TICK_S), min(round(LONGEST_S / TICK_S), count // 2)
    if longest <= shortest + 2:
        return None
    # Both ends of each comparison are as long as the other: the last n - lag ticks against those one lag earlier.
    lags = np.arange(shortest, longest + 1)
    alike = np.array([_correlation(squares[lag:], squares[:-lag]) for lag in lags.tolist()])
    peaks = np.flatnonzero((alike[1:-1] >= alike[:-2]) & (alike[1:-1] >= alike[2:]) & (alike[1:-1] > ALIKE)) + 1
    if not len(peaks):
        return None
    good = peaks[alike[peaks] > 0.9 * alike[peaks].max()]
    return int(lags[good[0]])


def coming_squares(squares: Floats, lap: int, ticks: int) -> Floats:
    """Amps squared of the ticks to come: the last lap again, shifted by what the present draw lies above or below it.

    Args:
        squares: Shape (n,), n at least lap + 5: amps squared of the last ticks.
        lap: The period in ticks.
        ticks: How many ticks to look ahead.
    """
    shift = float(np.mean(squares[-5:]) - np.mean(squares[-lap - 5 : -lap]))
    ahead = np.resize(squares[-lap:], ticks) + shift
    return np.maximum(0.0, ahead)


def keeps_to_lap(squares: Floats, lap: int) -> bool:
    """True where the present draw is what it was one lap earlier; a new step makes the lap before worthless.

    Args:
        squares: Amps squared of the last ticks.
        lap: The period in ticks.
    """
    if len(squares) < 2 * lap + 5:
        return False
    now, then = float(np.mean(squares[-5:])), float(np.mean(squares[-lap - 5 : -lap]))
    return abs(now - then) <= STEADY * max(now, then)


def _correlation(first: Floats, second: Floats) -> float:
    first, second = first - first.mean(), second - second.mean()
    size = float(np.sqrt((first @ first) * (second @ second)))
    return float(first @ second) / size if size > 0 else 0.0
