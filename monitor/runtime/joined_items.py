"""Items of chunks that were joined: what is the same over and over is taken once, and what begins anew is found."""

from collections.abc import Iterator, Sequence

import numpy as np

from monitor.values import Identity, LineReadings
from monitor.wire import Item, SampleRun
from monitor.wire.timeline import SMALL_STEP_MS

_LINES = -1


class RestartWatch:
    """Sees where the numbers of one port's boards fall back: then a board may have begun anew."""

    def __init__(self) -> None:
        self._reached: dict[int, int] = {}

    def sees(self, items: Sequence[Item]) -> bool:
        """Take items that follow the last ones; True where numbers fall back among them."""
        fell = False
        for item in items:
            if isinstance(item, LineReadings):
                times_ms = item.times_ms
                before = self._reached.get(_LINES, int(times_ms[0]))
                steps = times_ms[1:] - times_ms[:-1]
                fell = fell or int(times_ms[0]) - before < -SMALL_STEP_MS or bool((steps < -SMALL_STEP_MS).any())
                self._reached[_LINES] = int(times_ms[-1])
            elif isinstance(item, SampleRun):
                fell = fell or item.first_scan < self._reached.get(item.number, 0)
                self._reached[item.number] = item.first_scan
        return fell


def gathered(items: Sequence[Item]) -> Iterator[Item]:
    """Readings of lines in one block, where between them the board only said again who it is."""
    waiting: list[LineReadings] = []
    identity: Identity | None = None
    for item in items:
        if isinstance(item, LineReadings):
            waiting.append(item)
            continue
        if item == identity:
            continue
        if waiting:
            yield joined(waiting)
        waiting = []
        identity = item if isinstance(item, Identity) else None
        yield item
    if waiting:
        yield joined(waiting)


def joined(blocks: Sequence[LineReadings]) -> LineReadings:
    """Blocks that follow each other, at least one, as one."""
    if len(blocks) == 1:
        return blocks[0]
    return LineReadings(
        times_ms=np.concatenate([block.times_ms for block in blocks]),
        outputs=np.concatenate([block.outputs for block in blocks]),
        volts_rms=np.concatenate([block.volts_rms for block in blocks]),
        amps_rms=np.concatenate([block.amps_rms for block in blocks]),
        watts=np.concatenate([block.watts for block in blocks]),
    )
