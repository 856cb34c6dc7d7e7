"""One block of the bench's time at scan rate: what acts do to it, as pulses laid over plain tracks."""

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
        start_scan: Its first scan.
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
        ticks: Ticks in it.
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
