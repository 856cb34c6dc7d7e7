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
        sentence: "one more 2 A engine fits on Outer main; the North bench total binds".
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
        earliest_s: Seconds that a quick one of its kind takes, from the most heat that it may hold.
        latest_s: Seconds that a slow one takes; None where a slow one may never open.
        by_lap: True where the draw of the lap before was taken for what comes.
    """

    in_s: float
    earliest_s: float
    latest_s: float | None
    by_lap: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyLoad:
    """One supply as it stands.

    Attributes:
        name: Its name.
        at_s: When, seconds of the stream.
        amps: RMS amps over about two seconds, summed over its districts; None while nothing is measured.
        va: Volt-amperes likewise.
        headroom: What is left of the supply as a whole.
        limits: Every limit of the supply itself.
        heat: Likely heat of its protection, 1 where it opens; None without protection.
        heat_lowest: The least that it may hold: starting in the middle of a show, nobody knows what went before.
        heat_highest: The most that it may hold.
        forecast: When it would open; None where it would not.
        is_open: True while the protection is taken for open.
        open_since_s: Since when.
        reset_in_s: Likely seconds until it closes by itself; None where it does not, or where nobody can say.
        outputs: Its outputs.
        districts: Its districts.
        notes: What a nameplate exceeds or leaves open, one sentence each.
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
    notes: tuple[str, ...] = ()
