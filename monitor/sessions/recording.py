"""How a session is marked, what of each step goes to the disk, and the state of its recording."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from monitor.sessions.folder import NoticeKind
from monitor.sessions.notice_rows import Row, notice_rows
from monitor.values import ReadingBlock, Snapshot, Step


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingStatus:
    """How it stands with the recording.

    Attributes:
        state: "recording", "stopped" (trouble with the disk; it is tried again) or "closed".
        sentence: What a person should know and do.
        folder: The session's folder; None while there is none.
        dropped_bytes: Raw bytes that could not be kept.
        dropped_readings: Blocks of readings that could not be kept; they can be made again from the raw bytes.
    """

    state: Literal["recording", "stopped", "closed"]
    sentence: str
    folder: Path | None
    dropped_bytes: int
    dropped_readings: int

    @property
    def is_well(self) -> bool:
        """False where something is wrong that a person should mend."""
        return self.state != "stopped" and not self.dropped_bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionOptions:
    """How a session is marked and kept.

    Attributes:
        ports: Boards that are read at another port than the layout file says, by name.
        invented: True for demonstrations: the session is marked as such.
        readable: Whether other users of this computer may read it.
    """

    ports: Mapping[str, str] = field(default_factory=dict)
    invented: bool = False
    readable: bool = False


ROW_COST_BYTES = 400
READING_COST_BYTES = 80
"""About what a notice, and a reading of one district, take in memory while they wait."""


@dataclass(slots=True, kw_only=True)
class Kept:
    """One step on its way to the disk.

    Attributes:
        port: Where the bytes came from.
        received_s: Host seconds when they came.
        reopened: The port was reopened before them.
        now_s: The stream's time.
        notices: Rows for the files of JSON lines.
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
        reopened=step.chunk.reopened,
        now_s=step.now_s,
        notices=list(notice_rows(step)),
        readings=step.readings,
        snapshots=step.snapshots,
    )
