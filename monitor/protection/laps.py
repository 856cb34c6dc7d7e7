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
    alike = _correlations(squares, lags)
    peaks = np.flatnonzero((alike[1:-1] >= alike[:-2]) & (alike[1:-1] >= alike[2:]) & (alike[1:-1] > ALIKE)) + 1
    if not len(peaks):
        return None
    good = peaks[alike[peaks] > 0.9 * alike[peaks].max()]
    return int(lags[good[0]])


def coming_squares(squares: Floats, lap: int) -> Floats:
    """Amps squared of the lap to come: the last one again, shifted by what the present draw lies above or below it.

    Args:
        squares: Shape (n,), n at least lap + 5: amps squared of the last ticks.
        lap: The period in ticks.

    Returns:
        Shape (lap,).
    """
    shift = float(np.mean(squares[-5:]) - np.mean(squares[-lap - 5 : -lap]))
    return np.maximum(0.0, squares[-lap:] + shift)


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


def _correlations(squares: Floats, lags: NDArray[np.int64]) -> Floats:
    """Pearson correlation of the draw with itself at each lag, over the part where both are known; 0 where one end is constant."""
    count = len(squares)
    level = squares - squares.mean()
    sums = np.concatenate([[0.0], np.cumsum(level)])
    powers = np.concatenate([[0.0], np.cumsum(level**2)])
    # Only at the lags asked for; beyond its end the draw counts as nothing.
    both = np.correlate(np.concatenate([level[lags[0] :], np.zeros(lags[-1])]), level, mode="valid")
    size = count - lags
    late, early = sums[-1] - sums[lags], sums[size]
    late_power, early_power = powers[-1] - powers[lags], powers[size]
    spread = (size * late_power - late**2) * (size * early_power - early**2)
    # Rounding leaves a trace of spread where a draw is constant.
    known = spread > 1e-12 * max(1.0, float(powers[-1]) * count) ** 2
    return np.where(known, (size * both - late * early) / np.sqrt(np.where(known, spread, 1.0)), 0.0)
