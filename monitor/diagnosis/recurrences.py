"""Recurrences: some of the events come again at one place of the lap; the others may be another train's, with a lap of its own."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WIDTHS = (0.05, 0.1)  # of a lap: what one place may waver by
LATEST = 60  # more events than this say nothing new, and cost time
LEAST_MEMBERS = 5


class Recurrence(NamedTuple):
    """A place that some of the events share.

    Attributes:
        period: From one passing to the next, in the unit of the way.
        members: Shape (n,): which events belong to it.
        p_value: Chance of as many at one place of any lap tried, if the events came at random.
    """

    period: float
    members: NDArray[np.bool_]
    p_value: float


def recurrences(way: Floats, shortest: float, longest: float, significant: float) -> list[Recurrence]:
    """Laps at which more of the events fall into a narrow window than chance puts there.

    The chance is that of a scan statistic: a window that begins at any of n events holds k of them with the upper tail of the
    binomial distribution (n - 1, width), times the events, times the laps that differ (Bonferroni).

    Args:
        way: Shape (n,): where each event was, rising.
        shortest: Shortest lap to be tried.
        longest: Longest lap to be tried.
        significant: Only laps with a smaller p-value than this are given.

    Returns:
        The best of each width, most significant first, and the laps near their multiples that are significant as well.
    """
    way = way[-LATEST:]
    n, span = len(way), float(way[-1] - way[0]) if len(way) else 0.0
    if n <= LEAST_MEMBERS or longest <= shortest or not span:
        return []
    found = [recurrence for width in WIDTHS for recurrence in _of_width(way, (shortest, longest), width, significant)]
    return sorted(found, key=lambda recurrence: recurrence.p_value)


def _of_width(way: Floats, between: tuple[float, float], width: float, significant: float) -> list[Recurrence]:
    n, span = len(way), float(way[-1] - way[0])
    turns = span * (1 / between[0] - 1 / between[1])
    tries = n * turns / width * len(WIDTHS)
    tails = tries * _binomial_tails(n - 1, width)
    enough = int(np.argmax(tails < significant)) + 1 if bool((tails < significant).any()) else n + 1
    enough = max(enough, LEAST_MEMBERS)
    if enough > n:
        return []
    periods = 1 / np.linspace(1 / between[1], 1 / between[0], int(4 * turns / width) + 2)
    phases = np.sort(way[None, :] / periods[:, None] % 1.0, axis=1)
    phases = np.concatenate([phases, phases + 1.0], axis=1)
    counts = np.zeros(len(periods), dtype=np.intp)
    for k in range(enough, n + 1):
        holds = (phases[:, k - 1 : k - 1 + n] - phases[:, :n] <= width).any(axis=1)
        if not holds.any():
            break
        counts[holds] = k
    return [_at(way, float(periods[at]), width, float(tails[counts[at] - 1])) for at in _tops(counts)]


def _tops(counts: NDArray[np.intp]) -> list[int]:
    """The middle of the longest plateau of the highest count, and of the first plateau of each count almost as high."""
    least = 0.8 * counts.max()
    if not least:
        return []
    inside = np.concatenate([[False], counts >= least, [False]]).astype(np.int8)
    edges = np.flatnonzero(np.diff(inside))
    tops = []
    for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        best = np.flatnonzero(counts[first:last] == counts[first:last].max()) + first
        tops.append(int(best[len(best) // 2]))
    return tops


def _at(way: Floats, period: float, width: float, p_value: float) -> Recurrence:
    phases = way / period % 1.0
    away = (phases[None, :] - phases[:, None]) % 1.0
    inside = away <= width
    members = inside[int(np.argmax(inside.sum(axis=1)))]
    return Recurrence(period=period, members=members, p_value=min(1.0, p_value))


def _binomial_tails(n: int, share: float) -> Floats:
    """Chance of at least k of n, for k = 0..n."""
    chances = [math.comb(n, k) * share**k * (1 - share) ** (n - k) for k in range(n + 1)]
    return np.asarray(np.cumsum(chances[::-1])[::-1], dtype=np.float64)
