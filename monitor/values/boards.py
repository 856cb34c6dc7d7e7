"""What a sensor board says about itself."""

from dataclasses import dataclass
from enum import Enum
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One converter channel, as the board's identity describes it.

    Attributes:
        quantity: "V" for volts or "A" for amps.
        skew_s: Seconds from the start of the scan to this channel's conversion.
        units_per_count: Volts or amps for one count.
        zero_counts: The count that means zero.
    """

    quantity: Literal["V", "A"]
    skew_s: float
    units_per_count: float
    zero_counts: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """A board's identity.

    Attributes:
        number: Board number on the wire, 0-255 (0 in the line form).
        name: The name that the board gives itself; may be empty.
        scan_interval_s: Seconds between two scans (packed) or between two readings (lines).
        channels: In wire order. In the line form output n is channels 2n (volts) and 2n+1 (amps), one unit a count.
        form: "packed" or "lines".
        has_clock: False where its lines bring no time of their own, so that their time of arrival stands in.
    """

    number: int
    name: str
    scan_interval_s: float
    channels: tuple[Channel, ...]
    form: Literal["packed", "lines"] = "packed"
    has_clock: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardSeen:
    """A board that said who it is.

    Attributes:
        board: Its name in the layout file; None where the layout has no such board.
        identity: What it said.
        missing_channels: Channels that the layout names for it and it does not have.
    """

    board: str | None
    identity: Identity
    missing_channels: tuple[int, ...] = ()


class ResetCause(Enum):
    """Why a controller started; several may be set together. Values are the bit numbers of the wire."""

    POWER_ON = 0
    EXTERNAL = 1
    BROWN_OUT = 2
    WATCHDOG = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """A board's own health, once a second.

    Attributes:
        number: Board number.
        uptime_s: Seconds since the board started.
        supply_volts: The board's own supply; None where it does not measure it.
        scans_dropped: Scans that the board itself had to drop since it started.
        reset_causes: Why it started.
    """

    number: int
    uptime_s: float
    supply_volts: float | None
    scans_dropped: int
    reset_causes: frozenset[ResetCause]
