"""Lookouts: where something of one kind may begin is looked for in all districts at once; then each watcher goes on by itself."""

import numpy as np

from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.watcher import Stream, Watcher


class Lookout:
    """The watchers of one kind.

    Args:
        kind: Their class.
        stream: What they look at.
        districts: Columns of the districts that are watched.
    """

    def __init__(self, kind: type[Watcher], stream: Stream, districts: list[int]) -> None:
        self._onsets = kind.onsets
        self._stream = stream
        self._watchers = [kind(stream, district) for district in districts]
        self._seen: int | None = None

    def advance(self) -> list[Occurrence]:
        """Go on as far as the complete ticks allow; occurrences that began, changed or ended, by district."""
        if not self._watchers:
            return []
        ticks = self._stream.ticks
        first = ticks.base if self._seen is None else self._seen
        self._seen = ticks.end
        onsets = self._onsets(self._stream, ticks.rows(first, ticks.end))
        here = np.any(onsets, axis=0)
        return [
            occurrence
            for watcher in self._watchers
            for occurrence in watcher.advance(
                (np.flatnonzero(onsets[:, watcher.district]) + first).tolist() if here[watcher.district] else []
            )
        ]
