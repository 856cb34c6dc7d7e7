"""What of a step goes to the disk."""

from dataclasses import dataclass

from monitor.sessions.folder import NoticeKind
from monitor.sessions.notice_rows import Row, notice_rows
from monitor.values import ReadingBlock, Snapshot, Step

ROW_COST_BYTES = 400
READING_COST_BYTES = 80
"""About what a notice, and a reading of one district, take in memory while they wait."""


@dataclass(slots=True, kw_only=True)
class Kept:
    """One step on its way to the disk.

    Attributes:
        port: Where the bytes came from.
        data: The bytes.
        received_s: Host seconds when they came.
        reopened: The port was opened anew before them.
        now_s: The stream's time.
        notices: Rows for the files of JSON lines.
        readings: Blocks of readings.
        snapshots: Samples around events.
        lost_bytes: Bytes of this port dropped before these because the disk did not keep up.
    """

    port: str
    data: bytes
    received_s: float | None
    reopened: bool
    now_s: float
    notices: list[tuple[NoticeKind, Row]]
    readings: tuple[ReadingBlock, ...]
    snapshots: tuple[Snapshot, ...] = ()
    lost_bytes: int = 0

    @property
    def readings_cost_bytes(self) -> int:
        """About what the readings and snapshots take: what can be made again from the raw bytes."""
        readings = sum(block.volts_rms.size for block in self.readings) * READING_COST_BYTES
        return readings + sum(snapshot.values.nbytes for snapshot in self.snapshots)

    @property
    def cost_bytes(self) -> int:
        """About what all of it takes."""
        return len(self.data) + ROW_COST_BYTES * (1 + len(self.notices)) + self.readings_cost_bytes


def kept_of(step: Step) -> Kept:
    """What of a step is kept."""
    return Kept(
        port=step.port,
        data=step.chunk.data,
        received_s=step.chunk.received_s,
        reopened=bool(getattr(step.chunk, "reopened", False)),
        now_s=step.now_s,
        notices=list(notice_rows(step)),
        readings=step.readings,
        snapshots=step.snapshots,
    )
