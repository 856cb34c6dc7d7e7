"""Laps: how far a train went, and which lap lengths the amps speak for, since grades and curves come again lap after lap."""

import numpy as np
from numpy.typing import NDArray

from monitor.facts.ticks import TICK_S
from monitor.values.arrays import Floats

Bools = NDArray[np.bool_]
Complex = NDArray[np.complex128]

# A motor's speed follows its volts from a start voltage up. Near the usual volts a power says the same: 1 where the start voltage
# is 0, 2 where it is half the usual volts. The laps decide which power is right; 0 stands for a speed that ignores the volts.
SPEED_POWERS = np.array([0.0, 0.8, 1.3, 2.0])
SHORTEST_S = 4.0
LONGEST_S = 240.0
LAP_STEP = 0.015  # from one lap length to the next: what the search for spots corrects by itself from lap to lap
LAPS_S = np.exp(np.arange(np.log(SHORTEST_S), np.log(LONGEST_S), LAP_STEP))
LEAST_LAPS = 2.5  # a lap seen less often than this is not looked for in the amps
GRID_S = 0.2
FAST_SIZE = 1024  # transforms of its multiples are quick
SMOOTH_S = 1.0  # a motor wavers faster than any grade rises


def paces(volts: Floats, usual_volts: float, runs: Bools) -> Floats:
    """How fast a train goes, by each of the speed powers.

    Args:
        volts: Shape (n,).
        usual_volts: At which the pace is 1.
        runs: Shape (n,): the train moves at all.

    Returns:
        Shape (powers, n): laps' lengths are counted in seconds at a pace of 1.
    """
    ratio = np.where(runs, np.maximum(volts, 0.0), 0.0) / usual_volts
    return np.where(runs, ratio[None, :] ** SPEED_POWERS[:, None], 0.0)


def level(amps: Floats, valid: Bools, moved: Bools) -> Floats:
    """Amps as shares of the mean of their throttle setting, less one; shape (n,).

    Args:
        amps: Shape (n,).
        valid: Shape (n,): ticks that count.
        moved: Shape (n,): the throttle is on the move.
    """
    setting = np.cumsum(np.diff(moved.astype(np.int8), prepend=0) > 0)
    means = np.bincount(setting, np.where(valid, amps, 0.0)) / np.maximum(np.bincount(setting, valid), 1)
    return np.where(valid & (means[setting] > 0), amps / np.maximum(means[setting], 1e-9) - 1, 0.0)


def lap_correlations(pace: Floats, shares: Floats, valid: Bools) -> Floats:
    """Correlation of the amps with themselves one lap later.

    Args:
        pace: Shape (n,): of one speed power.
        shares: Shape (n,): see `level`.
        valid: Shape (n,): ticks that count.

    Returns:
        Shape (laps,), for each of `LAPS_S`; 0 where too little was seen.
    """
    way_s = np.cumsum(pace) * TICK_S
    steps = int((way_s[-1] - way_s[0]) / GRID_S) if len(way_s) else 0
    if steps < LEAST_LAPS * SHORTEST_S / GRID_S:
        return np.zeros(len(LAPS_S))
    grid = way_s[0] + np.arange(steps) * GRID_S
    weight = np.interp(grid, way_s, valid.astype(np.float64)) > 0.99
    correlation = _correlation(_smoothed(np.interp(grid, way_s, shares), weight), weight)
    # What changes slowly is like itself a little later, too: only where the likeness has risen again does something recur.
    correlation = np.minimum(correlation, correlation - np.minimum.accumulate(correlation))
    high = np.ceil(LAPS_S * (1 + LAP_STEP / 2) / GRID_S).astype(np.intp) + 1
    seen = high < min(steps / LEAST_LAPS, len(correlation))
    low = np.floor(LAPS_S[seen] * (1 - LAP_STEP / 2) / GRID_S).astype(np.intp)
    highest = np.maximum.reduceat(correlation, np.stack([low, high[seen]], axis=1).ravel())[::2]
    return np.concatenate([np.maximum(highest, 0.0), np.zeros(len(LAPS_S) - len(highest))])


def _smoothed(values: Floats, weight: Bools) -> Floats:
    kernel = np.ones(int(SMOOTH_S / GRID_S))
    count = np.convolve(weight.astype(np.float64), kernel, mode="same")
    smooth = np.convolve(np.where(weight, values, 0.0), kernel, mode="same") / np.maximum(count, 1.0)
    return np.where(weight, smooth - smooth[weight].mean() if weight.any() else 0.0, 0.0)


def _correlation(values: Floats, weight: Bools) -> Floats:
    """Correlation of the values with themselves at each lag, from pairs that both count; 0 where too few do."""
    lags = min(len(values), int(LONGEST_S / GRID_S) + 10)
    size = -(-(len(values) + lags) // FAST_SIZE) * FAST_SIZE

    def lagged(a: Complex, b: Complex) -> Floats:
        return np.asarray(np.fft.irfft(np.conj(a) * b, size)[:lags])

    value, square, mask = (np.fft.rfft(each, size) for each in (values, values**2, weight.astype(np.float64)))
    power = np.sqrt(np.maximum(lagged(square, mask) * lagged(mask, square), 1e-12))
    pairs = lagged(mask, mask)
    return np.where(pairs > 0.1 * weight.sum(), lagged(value, value) / power, 0.0)
