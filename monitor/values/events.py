"""Events, patterns and phasing: what diagnosis and metering conclude."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Literal


class Cause(Enum):
    """Why something happened; the value is the word on the wire of reports."""

    LOST_CONTACT = "lost-contact"
    SHORT = "short"
    PROTECTION_OPEN = "protection-open"
    SUPPLY_SAG = "supply-sag"
    MAINS_DIP = "mains-dip"
    FEED_LOST = "feed-lost"
    BINDING = "binding"
    WEAK_JOINT = "weak-joint"
    DIRECTION_BREAK = "direction-break"
    DC_SIGNAL = "dc-signal"
    THROTTLE = "throttle"

    @property
    def is_fault(self) -> bool:
        """False for what people do on purpose."""
        return self not in (Cause.DIRECTION_BREAK, Cause.DC_SIGNAL, Cause.THROTTLE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One occurrence in one district. The same id comes again when its end became known.

    Attributes:
        id: Counts up within a stream.
        district: Where.
        cause: Why.
        start_s: When it began, seconds of the stream.
        end_s: When it ended; None while it goes on.
        confidence: Share of such calls that are right, 0-1.
        evidence: Figures that speak for it, each with its unit in its name.
    """

    id: int
    district: str
    cause: Cause
    start_s: float
    end_s: float | None
    confidence: float
    evidence: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """What a number of events have in common.

    Attributes:
        verdict: "fixed-spot", "follows-train" or "scattered".
        districts: Which districts the events fell in.
        events: How many events.
        lap_s: Lap time used, or None.
        lap_fraction: Where on the lap, 0-1 from where the train was when the stream began, or None.
        p_value: Chance of as much evidence for one spot, at any time, if events came at random; None where nothing was tested.
        start_s: Time of the first event of it.
        phases: When each of its latest events began, and where on the lap the train was then, 0-1 on the same lap clock: counted
            along the way gone, not by time, where the throttle was moved. Empty where no lap is known.
        spread: Half width, in laps, of the arc around the place in which most of the events at a fixed spot lie, or None.
        there: How many of the latest events lie at the fixed spot.
        latest: How many these latest events are.
        causes: Of a fixed spot's events; empty of other patterns.
        landmarks: What operators saw a train pass, and where that is on the same lap, 0-1; the latest remark last.
    """

    verdict: Literal["fixed-spot", "follows-train", "scattered"]
    districts: tuple[str, ...]
    events: int
    lap_s: float | None
    lap_fraction: float | None
    p_value: float | None
    start_s: float
    phases: tuple[tuple[float, float], ...] = ()
    spread: float | None = None
    there: int = 0
    latest: int = 0
    causes: tuple[Cause, ...] = ()
    landmarks: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Phasing:
    """How two supplies stand to each other.

    Attributes:
        supplies: Their two names.
        verdict: "in-phase", "anti-phase" or "unrelated".
        difference_volts: RMS of the difference, as a voltmeter between the two hots shows it.
        degrees: Angle between the fundamentals, -180 to 180.
        start_s: When it was found.
        advice: What it means for joining commons and crossing gaps, with its caution; a few sentences.
        circulating_amps: RMS amps that would flow between the two while a train bridges a gap; None where unknown.
    """

    supplies: tuple[str, str]
    verdict: Literal["in-phase", "anti-phase", "unrelated"]
    difference_volts: float
    degrees: float
    start_s: float
    advice: str = ""
    circulating_amps: float | None = None
