"""Which post of a winding can be its common: the one from which every throttle of the winding raises the volts.

Several may do: a low tap below every throttle's low mark, or a tap in anti-phase. The plate's volts tell them apart where they can.
"""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from monitor.planning.line_places import WORST_SIGMAS
from monitor.planning.terminal_hypotheses import FittedWinding, TerminalHypothesis
from monitor.planning.terminal_readings import NOTHING_VOLTS, TerminalReadings, sigma_volts

REACHES_PLATE = 0.75
"""A supply's highest output comes at least this near to its plate, on low mains and warm (judgement, no published source)."""
HIGHEST_LOW_MARK_VOLTS = 12.0
"""No throttle begins above this (common practice, no published source: 0 to 8 V)."""
SMALLEST_RANGE_VOLTS = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class VariablePost:
    """A post that a throttle moves.

    Attributes:
        post: As it is marked.
        low_volts: Against the winding's common, the throttle at its low mark.
    """

    post: str
    throttle: str
    low_volts: float
    high_volts: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ConstantPost:
    """A post that no throttle moves."""

    post: str
    volts: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TerminalWinding:
    """One winding of a supply.

    Attributes:
        common: Its common; None where it has two posts that are alike.
        chosen: The post to use and to mark as the common: the common, or one of the two.
        variable: Posts that throttles move.
    """

    common: str | None
    chosen: str
    variable: tuple[VariablePost, ...] = ()
    constant: tuple[ConstantPost, ...] = ()

    @property
    def posts(self) -> tuple[str, ...]:
        """All of them, the chosen common first."""
        return (self.chosen, *(each.post for each in self.variable), *(each.post for each in self.constant))

    @property
    def highest_volts(self) -> float:
        """The most that an output gives against the common."""
        return max([each.high_volts for each in self.variable] + [each.volts for each in self.constant], default=0.0)

    def same_as(self, other: "TerminalWinding") -> bool:
        """Whether the two say the same but for the scatter of the figures."""
        return _structure(self) == _structure(other) and all(
            abs(one - its) <= WORST_SIGMAS * sigma_volts(max(one, its))
            for one, its in zip(_figures(self), _figures(other), strict=True)
        )


def possible_windings(readings: TerminalReadings, hypothesis: TerminalHypothesis) -> Iterator[tuple[TerminalWinding, ...]]:
    """What a hypothesis with every place known can mean: one common chosen for each winding.

    None where no common is possible, or where the volts against every possible one are beyond the plate.
    """
    ways = [_windings_of(readings, fit) for fit in hypothesis.windings]
    within = [[way for way in each if way.highest_volts <= readings.highest_volts] for each in ways]
    choices = [_with_likely_low_marks(each) for each in within]
    if readings.max_volts is not None:
        choices = _reaching(choices, REACHES_PLATE * readings.max_volts)
    yield from itertools.product(*choices)


def common_is_open(fit: FittedWinding) -> bool:
    """Whether nothing can say which of several posts is the common: none of them moves."""
    return not fit.movers and len(fit.posts) > 2


def _windings_of(readings: TerminalReadings, fit: FittedWinding) -> list[TerminalWinding]:
    fixed = [post for post in fit.posts if post not in fit.movers.values()]
    if len(fit.posts) == 2 or common_is_open(fit):
        return [_winding(readings, fit, fixed[0], is_common=False)]
    found: list[int] = []
    for post in fixed:
        alike = any(abs(fit.low[post][0] - fit.low[other][0]) <= NOTHING_VOLTS for other in found)
        if not alike and all(_rises(fit, moved, post) for moved in fit.movers.values()):
            found.append(post)
    return [_winding(readings, fit, post, is_common=True) for post in found]


def _rises(fit: FittedWinding, moved: int, common: int) -> bool:
    low, high = fit.low[moved][0] - fit.low[common][0], fit.high[moved][0] - fit.low[common][0]
    if high < 0:
        low, high = -low, -high
    return low >= -NOTHING_VOLTS and high - low >= SMALLEST_RANGE_VOLTS


def _winding(readings: TerminalReadings, fit: FittedWinding, common: int, *, is_common: bool) -> TerminalWinding:
    zero = fit.low[common][0]
    throttle = {post: readings.throttles[state - 1] for state, post in fit.movers.items()}
    others = [post for post in fit.posts if post != common]
    return TerminalWinding(
        common=readings.posts[common] if is_common else None,
        chosen=readings.posts[common],
        variable=tuple(
            VariablePost(
                post=readings.posts[post],
                throttle=throttle[post],
                low_volts=round(abs(fit.low[post][0] - zero), 2),
                high_volts=round(abs(fit.high[post][0] - zero), 2),
            )
            for post in others
            if post in throttle
        ),
        constant=tuple(
            ConstantPost(post=readings.posts[post], volts=round(abs(fit.low[post][0] - zero), 2))
            for post in others
            if post not in throttle
        ),
    )


def _with_likely_low_marks(ways: list[TerminalWinding]) -> list[TerminalWinding]:
    likely = [way for way in ways if all(each.low_volts <= HIGHEST_LOW_MARK_VOLTS for each in way.variable)]
    return likely or ways


def _reaching(choices: Sequence[list[TerminalWinding]], volts: float) -> list[list[TerminalWinding]]:
    """Where one winding alone can reach the plate's volts, only its commons that do."""
    reaching = [[way for way in each if way.highest_volts >= volts] for each in choices]
    able = [k for k, each in enumerate(reaching) if each]
    return [reaching[k] if able == [k] else each for k, each in enumerate(choices)]


def _structure(winding: TerminalWinding) -> tuple[object, ...]:
    moved = [(each.post, each.throttle) for each in winding.variable]
    return winding.common, winding.chosen, sorted(moved), sorted(each.post for each in winding.constant)


def _figures(winding: TerminalWinding) -> list[float]:
    variable = sorted(winding.variable, key=lambda each: each.post)
    constant = sorted(winding.constant, key=lambda each: each.post)
    return [volts for each in variable for volts in (each.low_volts, each.high_volts)] + [each.volts for each in constant]
