"""What a decoder yields."""

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from monitor.values import Health, Identity, LineReadings


class FaultKind(Enum):
    """What was wrong with a packet or a line; the value is for reports."""

    TOO_LONG = "longer than the form allows"
    STUFFING = "byte stuffing broken"
    TOO_SHORT = "too short to be a packet"
    CHECKSUM = "checksum wrong"
    SHAPE = "length does not fit its own fields"
    VERSION = "another version of the form"
    UNKNOWN_TYPE = "a packet type this program does not know"
    SYNTAX = "not a line of the form"
    NO_IDENTITY = "samples before any identity"

    @property
    def is_damage(self) -> bool:
        """True where bytes were hurt on the way, False where the board meant something else."""
        return self not in (FaultKind.VERSION, FaultKind.UNKNOWN_TYPE, FaultKind.NO_IDENTITY)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """Something dropped.

    Attributes:
        kind: What was wrong.
        offset: Byte position in the stream of the end of what was dropped.
        size: How many bytes were dropped.
        detail: A figure or word that helps (the version found, the type found); may be empty.
    """

    kind: FaultKind
    offset: int
    size: int
    detail: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleRun:
    """Scans of one board that follow each other, as numbered on the wire.

    Attributes:
        number: Board number.
        first_scan: Index on the wire of the first row (u32, wraps).
        counts: int16, shape (scans, channels).
    """

    number: int
    first_scan: int
    counts: NDArray[np.int16]


Item = Identity | SampleRun | Health | LineReadings | Fault
