"""What diagnosis and metering conclude: events, patterns, phasing, disturbances of the volts, slow figures."""

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
        verdict: "in-phase", "anti-phase" or "unrelated".
        difference_volts: RMS of the difference, as a voltmeter between the two hot posts shows it.
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


DisturbanceKind = Literal["dip", "swell", "interruption"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Disturbance:
    """One disturbance in one district, in the sense of IEC 61000-4-30 section 5.4 and 5.5; the same id comes again at its end.

    A dip that falls below the interruption's limit becomes an interruption under the same id.

    Attributes:
        id: Counts up within a board's stream.
        board: The board that measured it.
        district: Where.
        start_s: Middle of the first one-cycle window beyond the threshold.
        end_s: Middle of the first one-cycle window back within threshold and hysteresis; None while it goes on.
        extreme_volts: Residual volts of a dip or interruption (the lowest one-cycle RMS), highest one-cycle RMS of a swell.
        reference_volts: The sliding reference when it began.
    """

    id: int
    board: str
    district: str
    kind: DisturbanceKind
    start_s: float
    end_s: float | None
    extreme_volts: float
    reference_volts: float

    @property
    def depth(self) -> float:
        """Share of the reference that was lost (dip) or gained (swell), 0-1."""
        return abs(self.reference_volts - self.extreme_volts) / self.reference_volts


SlowKind = Literal["source-ohms", "loop-ohms", "running-amps", "opening-share", "flickers"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SlowFigure:
    """One figure worth comparing with earlier ones; replaces what was said before of the same kind and name.

    Attributes:
        kind: "source-ohms": what a supply loses for each amp. "loop-ohms": a district's feeder, out and back.
            "running-amps": what a district's trains draw. "opening-share": how soon a protection opened, as a share of its
            typical time. "flickers": how often lit cars lost contact for a moment in the last minute.
        name: The supply or district.
        value: The figure now, in the unit that the kind names.
        reference: What it is measured against: the wire's own ohms, the first minutes' amps, the first opening; None: nothing yet.
        spread: Half the range that holds the middle half of what the figure was taken from; 0 where it was one.
        count: How many steps, minutes or openings it was taken from.
        at_s: When it was found, seconds of the stream.
    """

    kind: SlowKind
    name: str
    value: float
    reference: float | None
    spread: float
    count: int
    at_s: float
