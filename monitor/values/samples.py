"""What arrives and what it holds: bytes, scans of the converter, and the samples around an event."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from monitor.values.boards import Identity


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """Bytes as they came from one port; empty when a read timed out.

    An empty chunk is a tick: it lets data grow stale and delays run out.

    Attributes:
        data: The bytes, any number of them, cut anywhere.
        received_s: Host seconds (monotonic, since the watch began) when they arrived; None offline, where board time rules.
        reopened: True on the first chunk after the port was lost and opened again, or read at another baud rate: what was half
            received before it will never be completed, and nothing says how the board's numbers go on.
    """

    data: bytes
    received_s: float | None = None
    reopened: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinedChunk(Chunk):
    """Chunks of one port that followed each other, as one.

    Attributes:
        ends: Shape (n,), rising: how many of the bytes had come with each of the n pieces.
        came_s: Shape (n,): host seconds when each piece arrived; the last is ``received_s``.
        is_prompt: Whether the last piece came with the least delay of its neighbours, so that it tells what time it is on the board.
    """

    ends: NDArray[np.int64] = field(compare=False)
    came_s: NDArray[np.float64] = field(compare=False)
    is_prompt: bool = False

    def pieces(self) -> Iterator[Chunk]:
        """The chunks as they came."""
        begin, reopened = 0, self.reopened
        for end, received_s in zip(self.ends.tolist(), self.came_s.tolist(), strict=True):
            yield Chunk(data=self.data[begin:end], received_s=received_s, reopened=reopened)
            begin, reopened = end, False


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
