"""Samples: counts of the converter, scan after scan."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.values.boards import Identity


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleBlock:
    """Scans of one board without a hole between them.

    Attributes:
        board: The board's name in the layout file.
        identity: The identity in force when they were taken.
        start_s: Time of the first scan, in the seconds of the stream (see runtime/pipeline).
        interval_s: Seconds between scans in that same time.
        first_scan: Scan number of the first row, unwrapped, counted over restarts.
        counts: int16, shape (scans, channels), as the converter gave them.
        continues: True where the first row follows the last row of the block before without a hole.
        drift: Seconds of the stream a second of the board's own clock, over minutes; interval_s also has what late bytes bend.
    """

    board: str
    identity: Identity
    start_s: float
    interval_s: float
    first_scan: int
    counts: NDArray[np.int16]
    continues: bool
    drift: float = 1.0

    @property
    def end_s(self) -> float:
        """Time at which the scan after the last one is due."""
        return self.start_s + len(self.counts) * self.interval_s
