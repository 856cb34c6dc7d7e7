"""Balance: amps that leave one district and come on in another at the same moment belong to a train that drives over."""

import numpy as np

from monitor.diagnosis.watcher import Stream

BESIDE_TICKS = 6
PARTLY, MOSTLY, WHOLLY = 0.4, 0.55, 0.7  # of the amps lost here that came on elsewhere in the same moment
LEAST_AMPS = 0.03


def handed_over(stream: Stream, district: int, tick: int, depth: float, least_share: float = PARTLY) -> bool:
    """Whether another track district took what this one lost at a tick (or, ``depth`` below 0, gave what this one gained)."""
    before = stream.medians("amps", tick - 6, tick - 1)
    after = stream.medians("amps", tick + 2, tick + BESIDE_TICKS)
    gained = np.where(stream.circuits.is_track, after - before, 0.0)
    gained[district] = 0.0
    return bool(np.nanmax(gained / depth, initial=0.0) > least_share)


def others_dropped(stream: Stream, district: int, tick: int, share: float) -> bool:
    """Whether another district lost more than a share of its amps at the same time: no single wheel does that."""
    before, after = stream.medians("amps", tick - 6, tick - 1), stream.medians("amps", tick + 2, tick + BESIDE_TICKS)
    dropped = after < (1 - share) * before - LEAST_AMPS
    dropped[district] = False
    return bool(dropped.any())
