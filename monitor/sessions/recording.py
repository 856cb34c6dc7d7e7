"""How a session is marked and kept, and how it stands with its recording."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal


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
