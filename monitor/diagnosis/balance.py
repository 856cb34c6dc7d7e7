"""Balance: amps that leave one district and come on in another at the same moment belong to a train that drives over."""

import numpy as np

from monitor.diagnosis import thresholds as t
from monitor.diagnosis.watcher import Stream


def handed_over(stream: Stream, district: int, tick: int, depth: float, least_share: float = t.BALANCE_PARTLY) -> bool:
    """Whether another track district took what this one lost at a tick (or, ``depth`` below 0, gave what this one gained)."""
    before = stream.medians("amps", tick - 6, tick - 1)
    after = stream.medians("amps", tick + 2, tick + t.BALANCE_BESIDE_TICKS)
    gained = np.where(stream.circuits.is_track, after - before, 0.0)
    gained[district] = 0.0
    return bool(np.nanmax(gained / depth, initial=0.0) > least_share)


def others_dropped(stream: Stream, district: int, tick: int, share: float) -> bool:
    """Whether another district lost more than a share of its amps at the same time: no single wheel does that."""
    before, after = stream.medians("amps", tick - 6, tick - 1), stream.medians("amps", tick + 2, tick + t.BALANCE_BESIDE_TICKS)
    dropped = after < (1 - share) * before - t.BALANCE_LEAST_AMPS
    dropped[district] = False
    return bool(dropped.any())
