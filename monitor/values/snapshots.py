"""Snapshots: the samples around an event, in volts and amps."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Quantity = Literal["V", "A", "F"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SnapshotChannel:
    """One column of a snapshot.

    Attributes:
        district: The district that it measures.
        quantity: "V" volts, "A" amps or "F" volts at the far end.
        skew_s: Seconds from the start of the scan to this channel's conversion.
    """

    district: str
    quantity: Quantity
    skew_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """What one board saw around an event.

    Attributes:
        event_id: The event.
        board: The board.
        start_s: Time of the first row, seconds of the stream.
        interval_s: Seconds between rows: the board's own, corrected for the slow drift of its clock.
        channels: What the columns are: the event's district first, then its neighbours on the same board.
        values: float32, shape (n, channels): calibrated volts and amps; NaN where scans were lost.
    """

    event_id: int
    board: str
    start_s: float
    interval_s: float
    channels: tuple[SnapshotChannel, ...]
    values: NDArray[np.float32]

    @property
    def end_s(self) -> float:
        """Time at which the row after the last one would be due."""
        return self.start_s + len(self.values) * self.interval_s
