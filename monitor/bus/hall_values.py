"""How a hall stands at one moment: every station and district, with what is wrong and how old it is."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from monitor.bus.payloads import EventNote, WarningNote
from monitor.standing import LayoutStanding, Level, headline

STALE_AFTER_S = 2.0
"""Older figures are never shown as live. A row is half a second long and half a second apart from the next."""
SILENT_AFTER_S = 15.0
"""Presence comes every 5 s."""
CLOCK_OFF_S = 2.0
"""From here on a station's clock is worth a word."""

Trouble = Literal["high", "silent", "medium", "low", "well", "gone"]
"""From worst to best: a warning of that priority stands; nothing is heard; something small; nothing; left in order."""
TROUBLES: tuple[Trouble, ...] = ("high", "silent", "medium", "low", "well", "gone")
State = Literal["here", "silent", "lost", "gone"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DistrictView:
    """One district.

    Attributes:
        supply: What feeds it; empty where the station did not say.
        use: "track" or "accessories"; empty where the station did not say.
        limit_amps: What its output may carry; None where unknown.
        age_s: Seconds since the end of its last reading; None where none came.
        volts: RMS volts; None where unknown, like all figures below.
        amps: RMS amps.
        amps_highest: Highest one-cycle amps of that half second.
        doubtful: Its sensor is known to lie.
        clipped: Its volts or amps, and all that is made of them, are lower bounds.
        trouble: How it stands by its station's word, age and sensor.
        recent: (seconds ago, volts, amps) of each half second of the last two minutes, oldest first.
    """

    name: str
    supply: str = ""
    output: str = ""
    use: str = ""
    limit_amps: float | None = None
    age_s: float | None = None
    volts: float | None = None
    amps: float | None = None
    amps_highest: float | None = None
    watts: float | None = None
    doubtful: bool = False
    clipped: bool = False
    trouble: Trouble = "well"
    recent: tuple[tuple[float, float | None, float | None], ...] = ()

    @property
    def is_stale(self) -> bool:
        """True where nothing came or the last figures are too old to be shown as live."""
        return self.age_s is None or self.age_s > STALE_AFTER_S


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyView:
    """One supply.

    Attributes:
        plate_va: Its nameplate; None where the station did not say.
        max_volts: Its highest volts; None where the station did not say.
        age_s: Seconds since the end of its last figures; None where none came.
        va: Volt-amperes; None where unknown.
        share: Share of the limit that binds, 1 is at the limit; None where unknown.
    """

    name: str
    plate_va: float | None = None
    max_volts: float | None = None
    age_s: float | None = None
    va: float | None = None
    share: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class EventView:
    """One event of a station."""

    note: EventNote
    age_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StationView:
    """One station, or a board on the network that no station takes in.

    Attributes:
        title: The layout's title; its name where it did not say.
        is_board: It is a board: outputs without nameplates, warnings or explanations.
        state: "here", "silent" (nothing heard for a while), "lost" (it vanished), "gone" (it left in order).
        trouble: How it stands, the worst of everything about it.
        reasons: Why, sentences for people, worst first; empty where all is well.
        heard_s_ago: Seconds since anything came from it; None where nothing did since we listen.
        age_s: Seconds since the end of its newest reading; None where none came.
        clock_ahead_s: How far its clock is ahead of ours (negative: behind); None where not known yet. Off by what a message needs.
        warnings: Those that stand, worst first.
        past_warnings: Those that cleared lately, newest first.
        events: The latest, newest first.
        districts: Worst first, else in the order of the layout file.
        supplies: Nearest to its limit first.
        is_double: Two computers send under its name.
        waiting: Messages that wait on its disk.
        thinned: Reading messages that gave way there.
        lost: Warnings and events that did.
        standing: How its supplies and districts stand by its own word, at this moment of its stream; None where it did not say.
    """

    hall: str
    name: str
    title: str
    is_board: bool
    state: State
    trouble: Trouble
    reasons: tuple[str, ...]
    heard_s_ago: float | None
    age_s: float | None
    clock_ahead_s: float | None
    warnings: tuple[WarningNote, ...]
    past_warnings: tuple[WarningNote, ...]
    events: tuple[EventView, ...]
    districts: tuple[DistrictView, ...]
    supplies: tuple[SupplyView, ...]
    is_double: bool = False
    waiting: int
    thinned: int
    lost: int
    standing: LayoutStanding | None = None

    @property
    def rank(self) -> tuple[int, float, str, str]:
        """Sorts stations worst first: by trouble, then by how near a supply is to its limit, then by name."""
        nearest = max((supply.share or 0.0 for supply in self.supplies), default=0.0)
        return TROUBLES.index(self.trouble), -round(nearest, 1), self.hall, self.name


def district_trouble(level: Level, age_s: float | None, *, doubtful: bool) -> Trouble:
    """How a district stands.

    Args:
        level: By its station's own word.
        age_s: Age of its figures; None where none came.
        doubtful: Its sensor is known to lie.
    """
    found: list[Trouble] = [TROUBLE_OF_LEVEL[level]]
    if age_s is None or age_s > STALE_AFTER_S:
        found.append("silent")
    if doubtful:
        found.append("low")
    return min(found, key=TROUBLES.index)


def judged(station: StationView) -> StationView:
    """The view with trouble and reasons filled in from everything else in it."""
    if station.state == "gone":
        return replace(station, trouble="gone", reasons=("It ended in order.",))
    found = sorted(_found(station), key=lambda each: TROUBLES.index(each[0]))
    return replace(station, trouble=found[0][0] if found else "well", reasons=tuple(sentence for _, sentence in found))


TROUBLE_OF_LEVEL: dict[Level, Trouble] = {
    Level.HIGH: "high", Level.STALE: "silent", Level.MEDIUM: "medium", Level.LOW: "low", Level.DOUBT: "low",
    Level.WELL: "well", Level.REST: "well",
}  # fmt: skip


def _found(station: StationView) -> Iterator[tuple[Trouble, str]]:
    head = headline(station.standing) if station.standing is not None else None
    if head is not None and TROUBLE_OF_LEVEL[head.level] != "well":
        yield TROUBLE_OF_LEVEL[head.level], f"{head.sentence.rstrip('.')}."
    elif station.standing is None:
        for note in station.warnings:
            yield note.priority, note.message
    yield from _silence(station)
    doubtful = [district.name for district in station.districts if district.doubtful]
    if doubtful:
        yield "low", f"Do not trust the figures of {_listed(doubtful)}: the sensing there is at fault."
    yield from _sending(station)


def _silence(station: StationView) -> Iterator[tuple[Trouble, str]]:
    if station.state == "lost":
        yield "silent", "It vanished: switched off, cut off from the network, or ended by force."
    elif station.state == "silent":
        heard = "Nothing has come from it" if station.heard_s_ago is None else f"Nothing has come for {station.heard_s_ago:.0f} s"
        yield "silent", f"{heard}: look at its computer and its network."
    elif station.standing is None:  # else its headline says so where nothing is worse
        stale = [district.name for district in station.districts if district.is_stale]
        if stale:
            yield "silent", f"No fresh figures of {_listed(stale)}: look at the board and its cable."


def _sending(station: StationView) -> Iterator[tuple[Trouble, str]]:
    if station.is_double:
        yield "low", "Two computers send under its name: give one of them another with --station."
    if station.clock_ahead_s is not None and abs(station.clock_ahead_s) >= CLOCK_OFF_S:
        way = "ahead" if station.clock_ahead_s > 0 else "behind"
        yield "low", f"Its clock is {abs(station.clock_ahead_s):.0f} s {way}: set it, or its records carry wrong times."
    if station.lost:
        yield "low", f"{station.lost} warnings or events were lost while it waited for the broker."
    if station.thinned:
        yield "low", f"{station.thinned} messages of readings gave way while it waited for the broker."


def _listed(names: list[str]) -> str:
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
