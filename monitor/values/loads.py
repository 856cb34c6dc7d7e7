"""Loads: what each supply, output and district carries, what binds it, and what is left."""

from dataclasses import dataclass
from typing import Literal

LimitKind = Literal["nameplate", "winding", "protection", "output", "feeder"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One limit of one place.

    Attributes:
        kind: "nameplate" (total VA over all outputs), "winding" (rated VA over highest volts, at any throttle), "protection"
            (what it holds for ever), "output" (this output's own), "feeder" (the wire's ampacity).
        place: Whose limit it is: a supply's, an output's (SUPPLY/OUTPUT) or a district's name.
        amps: The limit in amps; None where it is one of VA.
        va: The limit in VA; None where it is one of amps.
        words: How a person calls it, as "the North bench total of 180 VA".
    """

    kind: LimitKind
    place: str
    amps: float | None
    va: float | None
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Headroom:
    """What is left at one place.

    Attributes:
        share: Share of the limit that binds, 0 upwards (1 is at the limit).
        binding: The limit that binds: the one that leaves the fewest amps at the present volts; None where nothing limits this place.
        amps_left: Further amps at the present volts before the first limit is reached; negative beyond it; None without a limit.
        va_left: The same in VA at the present volts.
        sentence: "one more 2 A engine fits on Outer main; the North bench total is reached first".
    """

    share: float | None = None
    binding: Limit | None = None
    amps_left: float | None = None
    va_left: float | None = None
    sentence: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceLoad:
    """One output or district.

    Attributes:
        name: SUPPLY/OUTPUT, or the district's name.
        amps: RMS amps over about two seconds.
        va: Volt-amperes likewise.
        headroom: What is left here, with every limit upstream counted.
    """

    name: str
    amps: float | None
    va: float | None
    headroom: Headroom


@dataclass(frozen=True, slots=True, kw_only=True)
class TripForecast:
    """When the protection would open.

    Attributes:
        in_s: Likely seconds from now.
        earliest_s: Nearly all devices that it may be open later than this.
        latest_s: And nearly all earlier than this; None where it may never open.
        by_lap: True where the draw of the lap before was taken for what comes.
        is_late: True where a typical one would have opened by now.
        has_points: True where points of its data sheet are known.
    """

    in_s: float
    earliest_s: float
    latest_s: float | None
    by_lap: bool
    is_late: bool = False
    has_points: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Foreseen:
    """A forecast as it stood at one moment.

    Attributes:
        at_s: When, seconds of the stream.
        forecast: When it would open, seconds from then.
    """

    supply: str
    at_s: float
    forecast: TripForecast


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedOverload:
    """One overload of a recording, as the protection of another layout would have taken it.

    Attributes:
        start_s: When more was drawn than a quick one holds; or when the supply lost its volts without that.
        end_s: When that was over; None while it goes on.
        opens_at_s: When a typical one would have opened; None where it would have held.
        share: Share of all devices that it may be that would have opened.
        heat: The highest likely heat, at most 1.
    """

    supply: str
    start_s: float
    end_s: float | None
    opens_at_s: float | None
    share: float
    heat: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyLoad:
    """One supply as it stands.

    Attributes:
        at_s: When, seconds of the stream.
        amps: RMS amps over about two seconds, summed over its districts; None while nothing is measured.
        va: Volt-amperes likewise.
        headroom: What is left of the supply as a whole.
        limits: Every limit of the supply itself.
        heat: Likely heat of its protection, 1 where it opens; None without protection.
        heat_lowest: The least that it may hold: after a start in the middle of a show, what went before is not known.
        heat_highest: The most that it may hold.
        forecast: When it would open; None where it would not.
        is_open: True while the protection is taken for open.
        reset_in_s: Likely seconds until it closes by itself; None where it does not, or where that is not known.
    """

    name: str
    at_s: float
    amps: float | None
    va: float | None
    headroom: Headroom
    limits: tuple[Limit, ...]
    heat: float | None = None
    heat_lowest: float | None = None
    heat_highest: float | None = None
    forecast: TripForecast | None = None
    is_open: bool = False
    open_since_s: float | None = None
    reset_in_s: float | None = None
    outputs: tuple[PlaceLoad, ...] = ()
    districts: tuple[PlaceLoad, ...] = ()
