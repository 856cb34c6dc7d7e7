"""First-order recurrences of many figures at once."""

import numpy as np

from monitor.values.arrays import Floats


def followed(start: Floats, kept: Floats, gained: Floats) -> Floats:
    """What m figures become over n ticks: ``after = kept * before + gained``, tick after tick.

    Each tick is worked out from the one before and all figures side by side, so that the result is the same to the last digit
    however a stream is cut.

    Args:
        start: Shape (m,): what they are before the first tick.
        kept: Shape (n, m).
        gained: Shape (n, m).

    Returns:
        Shape (n, m): what they are after each tick.
    """
    found = np.empty_like(gained)
    before = start
    for share, more, after in zip(kept, gained, found, strict=True):
        np.multiply(before, share, out=after)
        np.add(after, more, out=after)
        before = after
    return found
