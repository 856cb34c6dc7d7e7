"""Findings: what is wrong with the sensing itself."""

from dataclasses import dataclass
from enum import Enum


class FindingKind(Enum):
    """What was found; the value is the word on the wire of reports."""

    GAP = "gap"
    RESTART = "restart"
    BROWN_OUT = "brown-out"
    CLIPPED = "clipped"
    STUCK = "stuck"
    REVERSED = "reversed"
    DAMAGED_BYTES = "damaged-bytes"
    NOISY = "noisy"
    CROSSED = "crossed"
    ZERO_DRIFT = "zero-drift"
    OTHER_VERSION = "other-version"
    SUPPLY_LOW = "supply-low"
    DROPPED_SCANS = "dropped-scans"
    IMPLAUSIBLE = "implausible"
    PULSES = "pulses"
    OTHER_MAINS = "other-mains"
    SUPPLY_WANDERS = "supply-wanders"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One finding about a board or one of its channels. The same id comes again when its end or count changed.

    Attributes:
        id: Counts up within a stream.
        board: The board's name.
        channel: The channel, or None for the whole board.
        kind: What.
        start_s: When it began.
        end_s: When it ended; None while it goes on.
        count: How many scans, packets or samples are concerned.
        check: What a person should check, one sentence.
    """

    id: int
    board: str
    channel: int | None
    kind: FindingKind
    start_s: float
    end_s: float | None
    count: int
    check: str
