"""Volts between the posts of one supply as a meter showed them, and what small figures between isolated windings weigh.

The first round has every throttle low, then one throttle at a time is turned up. Between isolated windings a meter shows nothing, or a few
phantom volts (stray capacitance into ten megohms): common practice, no published source; their sizes are judgements.
"""

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import hypot, inf, log, sqrt
from typing import Annotated, Literal

from msgspec import Meta, Struct

from monitor.errors import LayoutError
from monitor.layout.load import parse_tables
from monitor.layout.ratings import TOY_LIMIT_VOLTS

POSTS_LIMIT = 10
SCATTER_SHARE, SCATTER_VOLTS = 0.02, 0.2
"""A hand-held meter on a lightly loaded winding (common practice, no published source)."""
OVER_PLATE = 1.25
"""Volts without load against the plate's: regulation of a small transformer and mains 10 % high (judgement, no published source)."""

Name = Annotated[str, Meta(min_length=1, max_length=80)]
Volts = Annotated[float, Meta(ge=-1000, le=1000)]


class ReadingTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One round with the meter.

    Attributes:
        throttle: The one throttle that is turned up; None where all are at their low mark.
        volts: Pair ("U-A") to volts. Pairs left out were not measured.
    """

    throttle: Name | None = None
    volts: dict[str, Volts]


class MeterReadings(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The readings file of one supply.

    Attributes:
        terminals: The posts as they are marked.
        max_volts: Highest output volts by the plate.
        meter: What the meter was set to.
        reading: The rounds, all throttles low first.
    """

    terminals: Annotated[tuple[Name, ...], Meta(min_length=2, max_length=POSTS_LIMIT)]
    max_volts: Annotated[float, Meta(gt=0, le=1000)] | None = None
    meter: Literal["ac", "dc"] = "ac"
    reading: Annotated[tuple[ReadingTable, ...], Meta(min_length=1, max_length=200)]


@dataclass(frozen=True, slots=True, kw_only=True)
class PairReading:
    """One figure of the meter.

    Attributes:
        state: 0 with every throttle low, n with throttle n (from 1) up.
        pair: Two posts by their numbers, the lower one first.
        volts: What the meter showed, without a sign.
    """

    state: int
    pair: tuple[int, int]
    volts: float

    @property
    def sigma_volts(self) -> float:
        """How far the meter may be off, one standard deviation."""
        return sigma_volts(self.volts)


@dataclass(frozen=True, slots=True, kw_only=True)
class TerminalReadings:
    """All figures of one supply.

    Attributes:
        posts: The posts as they are marked.
        throttles: Throttles in the order in which they were first turned up.
        max_volts: Highest output volts by the plate; None where unknown.
        meter: "ac" or "dc".
    """

    posts: tuple[str, ...]
    throttles: tuple[str, ...]
    readings: tuple[PairReading, ...]
    max_volts: float | None = None
    meter: Literal["ac", "dc"] = "ac"
    mean_volts: Mapping[tuple[int, tuple[int, int]], float] = field(init=False)

    def __post_init__(self) -> None:
        found: dict[tuple[int, tuple[int, int]], list[float]] = {}
        for reading in self.readings:
            found.setdefault((reading.state, reading.pair), []).append(reading.volts)
        object.__setattr__(self, "mean_volts", {key: sum(volts) / len(volts) for key, volts in found.items()})

    @property
    def states(self) -> range:
        """All throttles low, then each one up."""
        return range(len(self.throttles) + 1)

    @property
    def pairs(self) -> list[tuple[int, int]]:
        """Every pair of posts."""
        return list(itertools.combinations(range(len(self.posts)), 2))

    def volts(self, state: int, pair: tuple[int, int]) -> float | None:
        """What was measured, the mean where it was measured several times; None where it was not."""
        return self.mean_volts.get((state, pair))

    def unmeasured(self) -> Iterator[tuple[int, tuple[int, int]]]:
        """What was not measured."""
        return ((state, pair) for state in self.states for pair in self.pairs if (state, pair) not in self.mean_volts)

    def pair_name(self, pair: tuple[int, int]) -> str:
        """A pair as the file writes it."""
        return f"{self.posts[pair[0]]}-{self.posts[pair[1]]}"

    def throttle_of(self, state: int) -> str | None:
        """The throttle that is up in a state."""
        return self.throttles[state - 1] if state else None

    @property
    def highest_volts(self) -> float:
        """The most that one output can give against its common: by the plate, else by the limit for toys; no load, high mains."""
        return OVER_PLATE * (self.max_volts or TOY_LIMIT_VOLTS[self.meter])


def sigma_volts(volts: float) -> float:
    """Standard deviation of a meter's figure."""
    return math.hypot(SCATTER_SHARE * volts, SCATTER_VOLTS)


def parse_readings(text: str, *, source: str | None = None) -> TerminalReadings:
    """The text of a readings file.

    Raises:
        LayoutError: It says something that cannot be; the message names the pair.
    """
    try:
        return readings_of(parse_tables(text, MeterReadings, source=source))
    except LayoutError as error:
        raise error if error.source == source else LayoutError(str(error), source=source) from error


def readings_of(file: MeterReadings) -> TerminalReadings:
    """The figures of a readings file.

    Raises:
        LayoutError: A pair names no two posts, or has more volts than two outputs in anti-phase can give.
    """
    if not 2 <= len(file.terminals) <= POSTS_LIMIT:
        raise LayoutError(f"measure between 2 and {POSTS_LIMIT} terminals, not {len(file.terminals)}")
    if len(set(file.terminals)) != len(file.terminals):
        raise LayoutError("two terminals have the same name: give each its own")
    if file.reading[0].throttle is not None:
        raise LayoutError("the first reading is the one with every throttle low: leave out its throttle")
    throttles = tuple(dict.fromkeys(table.throttle for table in file.reading if table.throttle is not None))
    readings = [
        PairReading(
            state=throttles.index(table.throttle) + 1 if table.throttle is not None else 0,
            pair=_pair(name, file.terminals),
            volts=abs(volts),
        )
        for table in file.reading
        for name, volts in table.volts.items()
    ]
    found = TerminalReadings(
        posts=file.terminals, throttles=throttles, readings=tuple(readings), max_volts=file.max_volts, meter=file.meter
    )
    _refuse_too_much(found)
    return found


def _refuse_too_much(found: TerminalReadings) -> None:
    for reading in found.readings:
        if not reading.volts <= 2 * found.highest_volts:
            plate = f"whose plate gives {found.max_volts:g} V" if found.max_volts else "for toys"
            raise LayoutError(
                f"{found.pair_name(reading.pair)} shows {reading.volts:g} V, more than two outputs of a supply {plate} can give together: "
                "if it was read right, unplug the supply and have it looked at"
            )


def _pair(name: str, posts: tuple[str, ...]) -> tuple[int, int]:
    for place in (k for k, letter in enumerate(name) if letter == "-"):
        one, other = name[:place].strip(), name[place + 1 :].strip()
        if one in posts and other in posts and one != other:
            first, second = sorted((posts.index(one), posts.index(other)))
            return first, second
    raise LayoutError(f'"{name}" is no pair of these terminals: write two of them with a hyphen, like {posts[0]}-{posts[1]}')


PHANTOM_LIMIT_VOLTS = 6.0
"""More than this between two posts is no phantom: they are on one winding (judgement, no published source)."""
PHANTOMS_AT_ALL, PHANTOM_EACH, PHANTOM_SIGMA_VOLTS = 12.0, 3.2, 2.0
"""Misfit that phantoms cost, as twice the logarithm of a likelihood: once, since a meter with a lamp across shows none, and each, as
volts with that standard deviation do against the meter's scatter (judgement, no published source)."""
SILENT_MISFIT = 4.0
"""A post that shows nothing against any other is rare."""
MOST_PHANTOM_RMS_VOLTS = 5.0
"""Of all phantoms of a supply together (judgement, no published source)."""
NOTHING_VOLTS = 4.5 * SCATTER_VOLTS
"""Less than this may be nothing: one figure in 150,000 that scatters normally is off by more."""


def misfit_across(readings: TerminalReadings, groups: Sequence[tuple[int, ...]]) -> float:
    """Squared deviations of the figures between groups: all of them nothing, or some phantoms; and what posts alone in a group weigh."""
    number = {post: k for k, group in enumerate(groups) for post in group}
    across = [reading for reading in readings.readings if number[reading.pair[0]] != number[reading.pair[1]]]
    nothing = sum((reading.volts / reading.sigma_volts) ** 2 for reading in across)
    phantoms = [reading.volts for reading in across if reading.volts > NOTHING_VOLTS]
    silent = SILENT_MISFIT * sum(len(group) == 1 for group in groups)
    if not phantoms:
        return silent + nothing
    if hypot(*phantoms) > MOST_PHANTOM_RMS_VOLTS * sqrt(len(phantoms)):
        return inf
    by_pair: dict[tuple[int, int], list[PairReading]] = {}
    for reading in across:
        by_pair.setdefault(reading.pair, []).append(reading)
    misfit = PHANTOMS_AT_ALL + sum(_phantom_misfit(same) for same in by_pair.values())
    second, largest = [0.0, *sorted(max(reading.volts for reading in same) for same in by_pair.values())][-2:]
    # Of n figures spread evenly, the largest is so many times the next one with a probability of that ratio to the power of 1 - n.
    outlying = largest / max(second, NOTHING_VOLTS)
    misfit += 2 * (len(by_pair) - 1) * log(max(1.0, outlying))
    return silent + min(nothing, misfit)


def _phantom_misfit(readings: Sequence[PairReading]) -> float:
    """What the figures of one pair weigh as phantoms: each round another, or the same in all (a stray capacitance does not change)."""
    mean = sum(reading.volts for reading in readings) / len(readings)
    steady = PHANTOM_EACH + (mean / PHANTOM_SIGMA_VOLTS) ** 2
    steady += sum(((reading.volts - mean) / reading.sigma_volts) ** 2 for reading in readings)
    each = (
        min((reading.volts / reading.sigma_volts) ** 2, PHANTOM_EACH + (reading.volts / PHANTOM_SIGMA_VOLTS) ** 2)
        for reading in readings
    )
    return min(steady, sum(each))
