"""How a draw may go on: as it is, as in the lap before, or rising as it has risen."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from monitor.protection import thresholds as th
from monitor.protection.ticks import TICK_S
from monitor.values.arrays import Floats

RAMP_GOES_ON_S = (10.0, 30.0, 60.0)
"""It may rise on for as long as any of these."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way in which the draw may go on.

    Attributes:
        share: How likely it is among all.
        lap: Amps of the ticks that come again and again; one for a steady draw.
        rise: Amps of the ticks before that.
    """

    share: float
    lap: Floats
    rise: Floats = field(default_factory=lambda: np.zeros(0))


def ways(squares: Floats, amps: float, over_s: float) -> tuple[Way, ...]:
    """How the draw may go on, the likeliest first.

    Args:
        squares: Shape (n,): amps squared of the last ticks.
        amps: The present draw with its trend.
        over_s: How long it has been above what the protection holds.
    """
    steady = np.array([amps])
    lap = lap_ticks(squares) if len(squares) else None
    if lap is not None and keeps_to_lap(squares, lap):
        profile = np.sqrt(coming_squares(squares, lap))
        return Way(share=th.LAP_SHARE, lap=profile), Way(share=1.0 - th.LAP_SHARE, lap=steady)
    lap = _again_ticks(squares, over_s)
    if lap is not None:
        profile = np.sqrt(coming_squares(squares, lap))
        return Way(share=1.0 - th.AGAIN_SHARE, lap=steady), Way(share=th.AGAIN_SHARE, lap=profile)
    slope = _slope(squares)
    if slope <= 0:
        return _perhaps_a_grade(squares, amps, over_s)
    rises = [amps + slope * TICK_S * np.arange(1.0, round(seconds / TICK_S) + 1.0) for seconds in RAMP_GOES_ON_S]
    share = (1.0 - th.RAMP_STOPS_SHARE) / len(rises)
    return Way(share=th.RAMP_STOPS_SHARE, lap=steady), *(Way(share=share, lap=rise[-1:], rise=rise) for rise in rises)


def lap_ticks(squares: Floats) -> int | None:
    """The period of a draw in ticks, found where its autocorrelation peaks first; None where it does not repeat.

    Args:
        squares: Shape (n,): amps squared of the last ticks; two laps at least are needed.
    """
    count = len(squares)
    shortest, longest = round(th.LAP_SHORTEST_S / TICK_S), min(round(th.LAP_LONGEST_S / TICK_S), count // 2)
    if longest <= shortest + 2:
        return None
    # Both ends of each comparison are as long as the other: the last n - lag ticks against those one lag earlier.
    lags = np.arange(shortest, longest + 1)
    alike = _correlations(squares, lags)
    peaks = np.flatnonzero((alike[1:-1] >= alike[:-2]) & (alike[1:-1] >= alike[2:]) & (alike[1:-1] > th.LAP_ALIKE)) + 1
    if not len(peaks):
        return None
    good = peaks[alike[peaks] > 0.9 * alike[peaks].max()]
    # What rises bit by bit is like itself at every lag; what repeats is less so between.
    between = float(alike[: good[0]].min())
    return int(lags[good[0]]) if between < alike[good[0]] - th.LAP_TROUGH else None


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
    return abs(now - then) <= th.LAP_STEADY * max(now, then)


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


def _again_ticks(squares: Floats, over_s: float) -> int | None:
    """How long ago the draw rose as it rose now and went on as it has since; None where it did not."""
    length = round((min(over_s, th.AGAIN_MOST_S) + th.AGAIN_EDGE_S) / TICK_S)
    if len(squares) < 2 * length + 1:
        return None
    recent = squares[-length:]
    windows = np.lib.stride_tricks.sliding_window_view(squares[:-length], length)
    misfits = np.abs(windows - recent).mean(axis=1) / max(float(recent.mean()), 1e-9)
    # The latest such time: of windows that fit about as well, the last.
    fits = np.flatnonzero(misfits <= max(1.1 * float(misfits.min()), 0.01))
    best = int(fits[-1])
    return len(squares) - length - best if misfits[best] < th.AGAIN_MISFIT else None


def _perhaps_a_grade(squares: Floats, amps: float, over_s: float) -> tuple[Way, ...]:
    """A draw that rose lately stays, or falls back after twice the time that it has lasted, for half as long again, and so on."""
    ticks = max(1, round(over_s / TICK_S))
    edge = ticks + round(th.AGAIN_EDGE_S / TICK_S)
    before = squares[max(0, len(squares) - edge - round(th.GRADE_BEFORE_S / TICK_S)) : max(0, len(squares) - edge)]
    share = th.GRADE_SHARE * (1.0 - over_s / th.GRADE_MOST_S)
    if share <= 0 or not len(before):
        return (Way(share=1.0, lap=np.array([amps])),)
    low = min(amps, math.sqrt(float(before.mean())))
    lap = np.repeat([low, amps], [3 * ticks, 2 * ticks])
    return Way(share=1.0 - share, lap=np.array([amps])), Way(share=share, lap=lap, rise=np.full(ticks, amps))


def _slope(squares: Floats) -> float:
    """Amps a second by which a draw has risen steadily of late; 0 where it has not."""
    count = round(th.RAMP_S / TICK_S)
    if len(squares) < count:
        return 0.0
    amps = np.sqrt(squares[-count:])
    times = (np.arange(count) - (count - 1) / 2) * TICK_S
    slope = float(times @ amps / (times @ times))
    spread = float(((amps - amps.mean()) ** 2).sum())
    explained = slope**2 * float(times @ times) / spread if spread > 0 else 0.0
    is_ramp = slope * th.RAMP_S > th.RAMP_LEAST * float(amps.mean()) and explained > th.RAMP_STRAIGHT
    return slope if is_ramp else 0.0
