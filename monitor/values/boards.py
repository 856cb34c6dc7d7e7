"""What boards and ports say and how they are: identities, health, port states, findings about the sensing."""

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
        uptime_s: Seconds since the board started.
        supply_volts: The board's own supply; None where it does not measure it.
        scans_dropped: Scans that the board itself had to drop since it started.
    """

    number: int
    uptime_s: float
    supply_volts: float | None
    scans_dropped: int
    reset_causes: frozenset[ResetCause]


PortState = Literal["opening", "reading", "silent", "lost", "not-understood", "wrong-baud", "stranger"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PortStatus:
    """One port as its reader sees it.

    Attributes:
        port: Its device or URL as the layout file writes it.
        board: The board's name in the layout file (the first, where several hang on it); None while no board there has identified itself.
        state: "opening" (cannot be opened yet, tried again and again), "reading", "silent" (open, nothing comes), "lost" (was
            there, is gone), "not-understood" (text or packets come that mean nothing here), "wrong-baud" (bytes come that are neither) or
            "stranger" (a board that the layout file does not know, or that speaks another version).
        sentence: What a person should know and do, in plain words.
        names: What the boards on it call themselves.
        since_s: Stream seconds at which this state began.
        bytes: Bytes read so far.
        last_data_s: Stream seconds at which bytes came last; None before the first.
    """

    port: str
    board: str | None
    state: PortState
    sentence: str
    names: tuple[str, ...] = ()
    since_s: float = 0.0
    bytes: int = 0
    last_data_s: float | None = None

    @property
    def is_well(self) -> bool:
        """True while data comes."""
        return self.state == "reading"


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
        channel: The channel, or None for the whole board.
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
