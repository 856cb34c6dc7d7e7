"""The states themselves: frozen values with moments of the stream in them, so that words can be made for any later moment."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

Late = Literal["", "none-yet", "computer", "board", "link", "not-understood"]
"""Why figures are old: not known, none ever came, this computer is late, the board is silent, the link is down, nothing is understood."""
NoPower = Literal["", "protection", "feed", "throttle"]
"""Why no power is there: not known, the protection is open, the feed is lost, the throttle was turned down."""


class Level(StrEnum):
    """How much attention a thing asks for; each has its own word, strokes and colour on the page."""

    REST = "rest"
    WELL = "well"
    LOW = "low"
    MEDIUM = "medium"
    HIGH = "high"
    DOUBT = "doubt"
    STALE = "stale"


URGENCY = (Level.REST, Level.WELL, Level.DOUBT, Level.STALE, Level.LOW, Level.MEDIUM, Level.HIGH)


class State(StrEnum):
    """What a supply or a district is doing."""

    RUNNING = "running"
    RESTING = "resting"
    NEAR = "near-limit"
    OVERLOADED = "overloaded"
    NO_POWER = "no-power"
    SHORT = "short"
    STALE = "stale"


@dataclass(frozen=True, slots=True, kw_only=True)
class Countdown:
    """When a protection is expected to open, in moments of the stream.

    Attributes:
        opens_at_s: Likely.
        earliest_at_s: Nearly all devices that it may be open later.
        latest_at_s: And nearly all earlier; None where it may never open.
        is_late: A typical one would have opened by now.
        is_bounded: Earliest and latest are known; where they are not, they are the likely moment itself.
    """

    opens_at_s: float
    earliest_at_s: float
    latest_at_s: float | None
    is_late: bool = False
    is_bounded: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyStanding:
    """How one supply stands.

    Attributes:
        name: Its name.
        state: What it is doing.
        level: How much attention it asks for.
        figures_at_s: The moment of its oldest figures; None where none came.
        late: Why figures are old, where they are.
        no_power: Why no power is there, where there is none.
        since_s: When the state began, where that is known.
        limit: Which limit binds, in words; empty where none does or nothing can be said of it.
        share: Share of that limit.
        amps_left: Amps that are left under it, negative beyond it.
        va_left: The same in VA.
        countdown: When its protection is expected to open; None where that is not expected.
        heat: Likely heat of its protection, 1 where it opens; with its bounds.
        heat_lowest: See heat.
        heat_highest: See heat.
        closes_at_s: When its protection is likely to close by itself; None where it does not or no one can say.
        unknown: Districts of it without live figures: sums are lower bounds while there are any.
        guard: What becomes of an overload that nothing is expected to open.
        back: How its power comes back where no one can say when.
    """

    name: str
    state: State
    level: Level
    figures_at_s: float | None = None
    late: Late = ""
    no_power: NoPower = ""
    since_s: float | None = None
    limit: str = ""
    share: float | None = None
    amps_left: float | None = None
    va_left: float | None = None
    countdown: Countdown | None = None
    heat: float | None = None
    heat_lowest: float | None = None
    heat_highest: float | None = None
    closes_at_s: float | None = None
    unknown: int = 0
    guard: str = ""
    back: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DistrictStanding:
    """How one district stands.

    Attributes:
        name: Its name.
        supply: Its supply.
        state: What it is doing.
        level: How much attention it asks for.
        use: "track" or "accessories".
        figures_at_s: The moment of its latest figures; None where none came.
        late: Why they are old, where they are.
        no_power: Why no power is there, where there is none.
        since_s: When the state or the cause began, where that is known.
        cause: The cause of a fault that goes on beside that state, as reports write it; empty where there is none.
        doubt: What is wrong with its sensing, as reports write it; "unknown" where only that is known; empty where nothing is.
        limit: Which of its own limits binds (output, feeder), in words.
        share: Share of that limit.
        room: What still fits there; empty wherever nothing should be added.
    """

    name: str
    supply: str
    state: State
    level: Level
    use: str = "track"
    figures_at_s: float | None = None
    late: Late = ""
    no_power: NoPower = ""
    since_s: float | None = None
    cause: str = ""
    doubt: str = ""
    limit: str = ""
    share: float | None = None
    room: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """One warning that stands, or several of one place that say the same.

    Attributes:
        ids: Of all of them, the leading one first.
        rule: Of the leading one.
        level: Likewise.
        kind: What ``where`` is: "supply", "output" or "district".
        where: What it is about.
        supply: The supply of that.
        limit: The limit that it holds a draw against, in words; empty where there is none.
        start_s: When the first of them rose.
        figure: Where no standing says more: the sentence of the warning itself.
        source: What brought it about, a sentence; empty where no one knows.
        advice: What to do.
        opens_as_raised_s: When the protection would open as seen when it rose; None where no time was said.
        time_words: The words of ``figure`` that say how long is left.
        acknowledged: Somebody has seen it.
        shelved_until_s: Put aside until then; None where it is not.
        first_out: The first of its supply since all was well.
        comes_and_goes: It rose again and again within a minute.
    """

    ids: tuple[int, ...]
    rule: str
    level: Level
    kind: str
    where: str
    supply: str
    start_s: float
    figure: str
    limit: str = ""
    source: str = ""
    advice: str = ""
    opens_as_raised_s: float | None = None
    time_words: str = ""
    acknowledged: bool = False
    shelved_until_s: float | None = None
    first_out: bool = False
    comes_and_goes: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LatchedWarning:
    """What asked for somebody at once, is over, and was not marked as seen.

    Attributes:
        ids: Of all warnings of its supply that are over and unseen, the worst first.
        kind: What the worst of them was.
        where: Its district, output or supply.
        supply: Its supply.
        start_s: When the worst of them rose.
        end_s: When the last of them was over.
    """

    ids: tuple[int, ...]
    kind: Literal["short", "opening", "overload"]
    where: str
    supply: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Flood:
    """More warnings lately than a person can follow.

    Attributes:
        ids: Of the warning that tells of it.
        count: How many rose in the last ten minutes.
        start_s: When it began.
        first_where: What the first of them was about; empty where that is no longer known.
    """

    ids: tuple[int, ...]
    count: int
    start_s: float
    first_where: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LayoutStanding:
    """How a layout stands at one moment.

    Attributes:
        at_s: The moment, seconds of the stream.
        supplies: In the order of the layout file.
        districts: Likewise.
        notices: Warnings that stand, worst first, those put aside last.
        latched: What is over and unseen, newest first.
        flood: None where there is none.
        port: What a person should know of the first port that is not well; empty where all are.
    """

    at_s: float
    supplies: tuple[SupplyStanding, ...]
    districts: tuple[DistrictStanding, ...]
    notices: tuple[Notice, ...] = ()
    latched: tuple[LatchedWarning, ...] = ()
    flood: Flood | None = None
    port: str = ""


def mark(standing: LayoutStanding) -> str:
    """The same while everything stands in the same way, whatever figures and moments do."""
    rows: list[SupplyStanding | DistrictStanding] = [*standing.supplies, *standing.districts]
    told = [(notice.ids, notice.level, notice.acknowledged, notice.shelved_until_s) for notice in standing.notices]
    stand = [(row.name, row.state, row.level, row.late, row.no_power) for row in rows]
    return repr((stand, told, [each.ids for each in standing.latched], standing.flood is None))
