"""Laps: the time a train takes once round, found from the current itself, for grades and curves come again."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.diagnosis.ticks import TICK_S

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Complex = NDArray[np.complex128]

SHORTEST_S = 4.0
LONGEST_S = 240.0
LEAST_LAPS = 2.5
LEAST_CORRELATION = 0.25
CANDIDATES = 6
STEP_S = 0.2
SMOOTH_S = 1.0
THROTTLED_SHARE = 0.05
# A motor's speed follows its volts, from a start voltage up; the steeper powers stand in for that start voltage.
SPEED_POWERS = (1.0, 1.6, 2.4)


class Track(NamedTuple):
    """How far a train went, in seconds at its usual speed, and the amps on the way.

    Attributes:
        way_s: Shape (n,): way gone at each tick, in seconds at the usual speed; never falls.
        level: Shape (n,): amps as shares of their mean at that throttle setting, less one.
        valid: Shape (n,): the train runs and nothing disturbs it.
    """

    way_s: Floats
    level: Floats
    valid: Bools


class Lap(NamedTuple):
    """One candidate for the lap time.

    Attributes:
        lap_s: In seconds at the usual speed.
        correlation: Of the amps with themselves one lap later.
    """

    lap_s: float
    correlation: float


def tracks(volts: Floats, amps: Floats, valid: Bools, moved: Bools) -> list[Track]:
    """Ways to count how far the train went: by time alone, and where the throttle was moved also by powers of the volts.

    Args:
        volts: Shape (n,).
        amps: Shape (n,).
        valid: Shape (n,): ticks that count.
        moved: Shape (n,): the throttle is on the move.
    """
    if valid.sum() < 10 * SHORTEST_S:
        return []
    usual = float(np.median(volts[valid]))
    level = _level(amps, valid & ~moved, np.cumsum(np.diff(moved.astype(np.int8), prepend=0) > 0))
    counted = [Track(np.arange(len(volts), dtype=np.float64) * TICK_S, level, valid & ~moved)]
    low, high = np.quantile(volts[valid], [0.05, 0.95])
    if high - low > THROTTLED_SHARE * usual:
        pace = np.where(valid, volts / usual, 0.0)
        counted += [
            Track(np.asarray(np.cumsum(pace**power) * TICK_S, dtype=np.float64), level, valid & ~moved) for power in SPEED_POWERS
        ]
    return counted


def laps(track: Track) -> list[Lap]:
    """Candidates for the lap time, the likeliest first; none where nothing comes again."""
    steps = int((track.way_s[-1] - track.way_s[0]) / STEP_S)
    if steps < LEAST_LAPS * SHORTEST_S / STEP_S:
        return []
    grid = track.way_s[0] + np.arange(steps) * STEP_S
    weight = np.interp(grid, track.way_s, track.valid.astype(np.float64)) > 0.99
    level = _smoothed(np.interp(grid, track.way_s, track.level), weight)
    correlation = _correlation(level, weight)
    longest = min(len(correlation) - 2, int(LONGEST_S / STEP_S), int(steps / LEAST_LAPS))
    return _peaks(correlation[: longest + 2])


def _level(amps: Floats, valid: Bools, setting: NDArray[np.intp]) -> Floats:
    """Amps as shares of the mean of their throttle setting, less one."""
    total = np.bincount(setting, np.where(valid, amps, 0.0))
    count = np.bincount(setting, valid)
    means = total / np.maximum(count, 1)
    return np.where(valid & (means[setting] > 0), amps / np.maximum(means[setting], 1e-9) - 1, 0.0)


def _smoothed(level: Floats, weight: Bools) -> Floats:
    """Without the motor's own wavering, which is quicker than any grade."""
    kernel = np.ones(int(SMOOTH_S / STEP_S))
    count = np.convolve(weight.astype(np.float64), kernel, mode="same")
    smooth = np.convolve(np.where(weight, level, 0.0), kernel, mode="same") / np.maximum(count, 1.0)
    return np.where(weight, smooth - smooth[weight].mean() if weight.any() else 0.0, 0.0)


def _correlation(values: Floats, weight: Bools) -> Floats:
    """Correlation of the values with themselves at each lag, from pairs that both count; 0 where too few do."""
    n = len(values)
    size = 1 << (2 * n - 1).bit_length()

    def lagged(a: Complex, b: Complex) -> Floats:
        return np.asarray(np.fft.irfft(np.conj(a) * b, size)[:n])

    value, square, mask = (np.fft.rfft(each, size) for each in (values, values**2, weight.astype(np.float64)))
    power = np.sqrt(np.maximum(lagged(square, mask) * lagged(mask, square), 1e-12))
    pairs = lagged(mask, mask)
    return np.where(pairs > 0.1 * weight.sum(), lagged(value, value) / power, 0.0)


def _peaks(correlation: Floats) -> list[Lap]:
    first = int(SHORTEST_S / STEP_S)
    inner = correlation[first:-1]
    top = (inner >= correlation[first - 1 : -2]) & (inner > correlation[first + 1 :]) & (inner > LEAST_CORRELATION)
    at = np.flatnonzero(top) + first
    best = at[np.argsort(-correlation[at], kind="stable")][:CANDIDATES]
    return [_refined(correlation, int(lag)) for lag in best]


def _refined(correlation: Floats, lag: int) -> Lap:
    """The top of the parabola through three points."""
    before, here, after = correlation[lag - 1 : lag + 2].tolist()
    bend = before - 2 * here + after
    shift = 0.5 * (before - after) / bend if bend else 0.0
    return Lap((lag + shift) * STEP_S, here)
