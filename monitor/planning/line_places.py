"""Points on one line of volts from the distances between them.

All windings of a transformer are in phase or in anti-phase, so what a meter shows between two posts of one winding is the distance of
two places on a line (textbook: phasors on one axis). A meter shows no sign: each distance leaves two sides open, and further distances
close them.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np

PLACEMENTS_LIMIT = 96
"""More ways than this are too many to look through: more has to be measured first."""
SAME_PLACE_SIGMAS = 4.0
PLACED_SIGMA_VOLTS = 0.3
"""How well a place is known while others are still to come."""
WORST_SIGMAS = 6.0
"""No figure that scatters normally is off by more than this: of 500, one in a million sets of readings."""
ROUNDS = 6
DUPLICATE_VOLTS = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Distance:
    """One measured distance."""

    ends: tuple[int, int]
    volts: float
    sigma_volts: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """One way to place the points.

    Attributes:
        places: By point, volts; each island has a zero and a direction of its own.
        islands: By point: points of different islands have no measured path between them.
        misfit: Sum of squared deviations, in standard deviations.
        worst: Largest deviation, in standard deviations.
    """

    places: tuple[float, ...]
    islands: tuple[int, ...]
    misfit: float
    worst: float


def placements(points: int, distances: Sequence[Distance]) -> list[Placement]:
    """Every way to place points on a line so that the distances fit, mirror images once.

    Returns:
        None to PLACEMENTS_LIMIT + 1 ways; more than the limit says that there are too many to tell.
    """
    near = _mean_distances(distances)
    islands = _islands(points, near)
    ways = [_ways(island, near, distances) for island in islands]
    labels = [0] * points
    for k, island in enumerate(islands):
        for point in island:
            labels[point] = k
    found = []
    for chosen in itertools.islice(itertools.product(*ways), PLACEMENTS_LIMIT + 1):
        places = [0.0] * points
        for way in chosen:
            for point, place in way.places.items():
                places[point] = place
        misfit = sum(way.misfit for way in chosen)
        worst = max((way.worst for way in chosen), default=0.0)
        found.append(Placement(places=tuple(places), islands=tuple(labels), misfit=misfit, worst=worst))
    return found


@dataclass(frozen=True, slots=True)
class _Way:
    places: dict[int, float]
    misfit: float
    worst: float


_Near = dict[int, dict[int, tuple[float, float]]]


def _mean_distances(distances: Sequence[Distance]) -> _Near:
    """Point to its neighbours: mean distance and its standard deviation."""
    sums: dict[tuple[int, int], list[Distance]] = {}
    for distance in distances:
        sums.setdefault((min(distance.ends), max(distance.ends)), []).append(distance)
    near: _Near = {}
    for (one, other), same in sums.items():
        mean = sum(d.volts for d in same) / len(same)
        sigma = sum(d.sigma_volts for d in same) / len(same) ** 1.5
        near.setdefault(one, {})[other] = (mean, sigma)
        near.setdefault(other, {})[one] = (mean, sigma)
    return near


def _islands(points: int, near: _Near) -> list[list[int]]:
    """Points in the order in which to place them, those with most distances to placed ones first."""
    left, islands = set(range(points)), []
    while left:
        order = [max(left, key=lambda p: (len(near.get(p, {})), -p))]
        left.remove(order[0])
        while True:
            reached = [p for p in left if any(q in near.get(p, {}) for q in order)]
            if not reached:
                break
            following = max(reached, key=lambda p: (sum(q in near[p] for q in order), -p))
            order.append(following)
            left.remove(following)
        islands.append(order)
    return islands


def _ways(island: list[int], near: _Near, distances: Sequence[Distance]) -> list[_Way]:
    partial: list[dict[int, float]] = [{island[0]: 0.0}]
    for point in island[1:]:
        partial = [{**places, point: place} for places in partial for place in _next_places(places, near[point])][
            : 2 * PLACEMENTS_LIMIT
        ]
    of_island = [d for d in distances if d.ends[0] in partial[0]] if partial else []
    found: list[_Way] = []
    for places in partial:
        way = _settled(island, places, of_island)
        if way.worst <= WORST_SIGMAS and not any(_same(way, other) for other in found):
            found.append(way)
    return found


def _next_places(places: dict[int, float], neighbours: dict[int, tuple[float, float]]) -> list[float]:
    """Where the next point can be, at most two places."""
    known = [(places[point], *neighbours[point]) for point in neighbours if point in places]
    anchor, volts, sigma = min(known, key=lambda each: each[2])
    sides = [anchor + volts, anchor - volts]
    all_at_zero = all(abs(place) < SAME_PLACE_SIGMAS * PLACED_SIGMA_VOLTS for place in places.values())
    if all_at_zero or volts < sigma:
        # The first point off zero may as well lie above it: mirror images are one way.
        sides = sides[:1]
    found: list[float] = []
    for side in sides:
        weights = [1 / (s * s) for _, _, s in known]
        towards = [place + (v if side >= place else -v) for place, v, _ in known]
        mean = sum(w * t for w, t in zip(weights, towards, strict=True)) / sum(weights)
        fits = all(abs(abs(mean - place) - v) <= (WORST_SIGMAS + 1) * hypot(s, PLACED_SIGMA_VOLTS) for place, v, s in known)
        if fits and not any(abs(mean - other) < DUPLICATE_VOLTS for other in found):
            found.append(mean)
    return found


def _settled(island: list[int], places: dict[int, float], distances: Sequence[Distance]) -> _Way:
    """Least squares, with each distance taken on the side where its points are by now."""
    if not distances:
        return _Way(places, 0.0, 0.0)
    index = {point: k for k, point in enumerate(island)}
    ones = np.array([index[d.ends[0]] for d in distances])
    others = np.array([index[d.ends[1]] for d in distances])
    volts = np.array([d.volts for d in distances])
    weights = 1 / np.array([d.sigma_volts for d in distances])
    rows = np.arange(len(distances))
    at = np.array([places[point] for point in island])
    signs = np.zeros(len(distances))
    for _ in range(ROUNDS):
        before, signs = signs, np.where(at[ones] >= at[others], 1.0, -1.0)
        if np.array_equal(before, signs):
            break
        design = np.zeros((len(distances), len(island)))
        design[rows, ones] += weights
        design[rows, others] -= weights
        at = np.concatenate([[0.0], np.linalg.lstsq(design[:, 1:], signs * volts * weights, rcond=None)[0]])
    off = np.abs(np.abs(at[ones] - at[others]) - volts) * weights
    settled = dict(zip(island, at.tolist(), strict=True))
    return _Way(settled, float((off**2).sum()), float(off.max()))


def _same(one: _Way, other: _Way) -> bool:
    """The same places, or their mirror image."""
    pairs = [(place, other.places[point]) for point, place in one.places.items()]
    return any(all(abs(a - sign * b) < DUPLICATE_VOLTS for a, b in pairs) for sign in (1.0, -1.0))
