"""One block of the bench's time at scan rate: what acts do to it, as pulses laid over plain tracks, and the shapes of these pulses."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from monitor.values.arrays import Floats

Track = Literal["feed", "drive", "mains", "angle", "dc", "short", "step", "contact", "cars", "joint", "load"]

SCANS_PER_TICK = 12
"""Slow state (heat, speed, filaments) moves in ticks of this many scans: about 10 ms."""

_MULTIPLIED = frozenset({"feed", "drive", "mains", "contact", "cars", "load"})
_OF_TRAINS = frozenset({"contact", "cars", "joint", "load"})
_OF_MAINS = frozenset({"mains", "angle"})
TRACKS: tuple[Track, ...] = ("feed", "drive", "mains", "angle", "dc", "short", "step", "contact", "cars", "joint", "load")


@dataclass(slots=True, kw_only=True)
class Pulse:
    """Something that holds for some scans.

    Attributes:
        track: Which track it acts on: multiplied into feed, drive, mains, contact, cars and load, added to the others.
        row: District or train; 0 for the mains.
        values: One value a scan.
    """

    track: Track
    row: int
    start_scan: int
    values: Floats

    @property
    def end_scan(self) -> int:
        """First scan after it."""
        return self.start_scan + len(self.values)


class Frame:
    """Tracks of one block.

    Attributes:
        start_scan: First scan of the block.
        tracks: Track name to array of shape (rows, scans).
    """

    def __init__(self, start_scan: int, ticks: int, districts: int, trains: int) -> None:
        self.start_scan = start_scan
        self.ticks = ticks
        self.scans = ticks * SCANS_PER_TICK
        self.tracks: dict[str, Floats] = {}
        self._means: dict[str, list[list[float]]] = {}
        for track in TRACKS:
            rows = 1 if track in _OF_MAINS else trains if track in _OF_TRAINS else districts
            neutral = 1.0 if track in _MULTIPLIED else 0.0
            self.tracks[track] = np.full((rows, self.scans), neutral)

    @property
    def end_scan(self) -> int:
        """First scan after the block."""
        return self.start_scan + self.scans

    def lay(self, pulse: Pulse) -> None:
        """Lay a pulse over its track, as far as it falls in this block."""
        low = max(pulse.start_scan, self.start_scan)
        high = min(pulse.end_scan, self.end_scan)
        if low >= high:
            return
        part = self.tracks[pulse.track][pulse.row, low - self.start_scan : high - self.start_scan]
        values = pulse.values[low - pulse.start_scan : high - pulse.start_scan]
        if pulse.track in _MULTIPLIED:
            part *= values
        else:
            part += values
        if pulse.track in self._means:
            self._means[pulse.track][pulse.row] = self._mean_of(pulse.track, pulse.row)

    def means(self, track: Track) -> list[list[float]]:
        """Mean over each tick, row by row; kept in step with pulses laid later."""
        if track not in self._means:
            self._means[track] = [self._mean_of(track, row) for row in range(len(self.tracks[track]))]
        return self._means[track]

    def _mean_of(self, track: Track, row: int) -> list[float]:
        means: list[float] = self.tracks[track][row].reshape(self.ticks, SCANS_PER_TICK).mean(1).tolist()
        return means


LONGEST_EDGE_SCANS = 480
"""An engine rolls over the beginning of a section within some tenths of a second, however long the section is."""


def box(scans: int, value: float, edge: int = 0, rest: float = 1.0) -> Floats:
    """A value held for some scans between two straight edges of the given length that start and end at rest."""
    values = np.full(max(scans, 1), value)
    edge = min(edge, len(values) // 2)
    if edge:
        ramp = rest + (value - rest) * np.arange(1, edge + 1) / (edge + 1)
        values[:edge] = ramp
        values[-edge:] = ramp[::-1]
    return values


def chatter(rng: np.random.Generator, scans: int, share_on: float, mean_scans: float) -> Floats:
    """Ones and zeros in turn, runs of random length, on for the given share of the time; begins with a zero."""
    values = np.zeros(max(scans, 1))
    at, on = 0, False
    while at < len(values):
        share = share_on if on else 1 - share_on
        run = 1 + int(rng.exponential(2 * mean_scans * share))
        if on:
            values[at : at + run] = 1.0
        at += run
        on = not on
    return values


def lost_contact(rng: np.random.Generator, scans: int) -> Floats:
    """A contact that is gone for some scans; the edges may bounce, and a trace of current may stay."""
    values = np.full(scans, float(rng.choice([0.0, 0.0, 0.0, rng.uniform(0, 0.06)])))
    bounce = min(int(rng.integers(0, 8)), scans // 8)
    if bounce > 1 and rng.random() < 0.5:
        values[1:bounce] = rng.integers(0, 2, bounce - 1)
        values[-bounce:-1] = rng.integers(0, 2, bounce - 1)
    return values


def lost_feed(rng: np.random.Generator, scans: int, ragged: int) -> Floats:
    """A connector that lets go: bouncing at both ends, dead between, now and then a spark of contact in the middle."""
    values = np.zeros(scans)
    ragged = min(ragged, scans // 2)
    if ragged:
        mean = rng.uniform(4, 25)
        values[:ragged] = chatter(rng, ragged, rng.uniform(0.25, 0.65), mean)
        values[-ragged:] = chatter(rng, ragged, rng.uniform(0.25, 0.65), mean)[::-1]
    if scans > 1500 and rng.random() < 0.4:
        middle = int(rng.integers(scans // 3, scans * 2 // 3))
        values[middle : middle + int(rng.integers(5, 40))] = 1.0
    return values


def joint(rng: np.random.Generator, scans: int, ohms: float) -> Floats:
    """Series ohms of a weak joint, or of a section fed through one, as a train passes it: rises, wavers, falls."""
    edge = min(int(scans * rng.uniform(0.05, 0.25)), LONGEST_EDGE_SCANS)
    values = box(scans, ohms, edge, rest=0.0)
    waver = np.interp(np.arange(scans), np.arange(0, scans + 40, 40), rng.normal(0, 0.15, len(np.arange(0, scans + 40, 40))))
    return values * np.clip(1 + waver, 0.3, None)


def short_siemens(rng: np.random.Generator, scans: int, ohms: float, chatter_share: float) -> Floats:
    """Conductance of a derailment: wavers as metal scrapes, may bounce at first."""
    values = np.exp(rng.normal(0, 0.08, scans)) / ohms
    if chatter_share > 0 and scans > 40:
        bouncing = int(min(scans * 0.3, 200))
        values[1:bouncing] *= chatter(rng, bouncing, 1 - chatter_share, 6)[1:]
    return values


def step_siemens(siemens: float, surge: float, surge_scans: int, scans: int) -> Floats:
    """Conductance of a load that draws surge times its steady draw at first."""
    decay = np.exp(-np.arange(scans) / max(surge_scans / 3, 1))
    return siemens * (1 + (surge - 1) * decay)


def dip(scans: int, level: float, recover: int) -> Floats:
    """Mains at a level, recovering along an exponential in the last part."""
    values = np.full(scans, level)
    recover = min(recover, scans // 2)
    if recover:
        values[-recover:] = level + (1 - level) * (1 - np.exp(-np.arange(recover) * 3 / recover))
    return values


def wander(rng: np.random.Generator, scans: int, share: float, steps_a_scan: float) -> Floats:
    """Mains that waver about 1 by a share within some seconds, and step by as much when a big load of the house comes on or goes."""
    knots = np.arange(0, scans + 4000, 4000)
    values = 1 + np.interp(np.arange(scans), knots, rng.normal(0, share, len(knots)))
    for at in rng.integers(0, scans, rng.poisson(steps_a_scan * scans)):
        values[at : at + int(rng.uniform(500, 30_000))] -= rng.uniform(0, 2 * share)
    return values
