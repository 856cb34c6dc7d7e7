"""Every way to make windings of a supply's posts that the figures of a meter allow.

A supply is windings; each is isolated from the others. Within one, each pair of posts shows the distance of two places on a line; between
two of them a meter shows nothing, or a few phantom volts (stray capacitance into a meter of ten megohms: common practice, no published
source). A throttle moves one post.
"""

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import hypot, inf, prod

from monitor.planning.line_places import PLACEMENTS_LIMIT, WORST_SIGMAS, Distance, Placement, placements
from monitor.planning.terminal_readings import NOTHING_VOLTS, PHANTOM_LIMIT_VOLTS, TerminalReadings, misfit_across, sigma_volts

Pair = tuple[int, int]
Group = tuple[int, ...]
PLACE_MISFIT = 8.0
"""What each place on a line costs that the figures were free to choose: one among some 25 V against the meter's scatter."""
SMALLEST_WINDING_VOLTS = 3.2
"""No output gives less than this (common practice, no published source)."""
CHANGED_SIGMAS = 5.0
"""From here on a throttle has moved what a pair shows."""
SEARCHED_MISFIT = 60.0
"""Groupings whose misfit alone is this much above the best hypothesis are not looked into."""
GIVEN_SIGMA_VOLTS = 0.5
"""Scatter of a figure that other pairs give: several meter figures add up."""
GROUPINGS_LIMIT = 4000
CHOICES_LIMIT = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedWinding:
    """Posts of one winding, placed on its line.

    Attributes:
        movers: State (throttle) to the post that it moves.
        low: Post to its place with every throttle low, and the island of that place.
        high: Moved post to its place with its throttle up, and the island of that place.
        misfit: Sum of squared deviations, in standard deviations.
    """

    posts: Group
    movers: Mapping[int, int]
    low: Mapping[int, tuple[float, int]]
    high: Mapping[int, tuple[float, int]]
    misfit: float

    @property
    def complete(self) -> bool:
        """Whether every place is known against every other."""
        return len({island for _, island in (*self.low.values(), *self.high.values())}) == 1

    def place(self, state: int, post: int) -> tuple[float, int]:
        """Where a post is in a state."""
        return self.high[post] if self.movers.get(state) == post else self.low[post]

    def between(self, state: int, pair: Pair) -> float | None:
        """What a meter would show; None where that is not known."""
        (one, island), (other, other_island) = self.place(state, pair[0]), self.place(state, pair[1])
        return abs(one - other) if island == other_island else None


@dataclass(frozen=True, slots=True, kw_only=True)
class TerminalHypothesis:
    """One way that the figures allow.

    Attributes:
        silent: Posts that show nothing against any other.
        still: States whose throttle moved nothing.
        unseen: States of which it was not measured yet what the throttle moved.
        misfit: Sum of squared deviations, in standard deviations, and what phantoms weigh.
    """

    windings: tuple[FittedWinding, ...]
    silent: Group
    still: tuple[int, ...]
    unseen: tuple[int, ...]
    misfit: float

    def winding_of(self, pair: Pair) -> FittedWinding | None:
        """The winding on which both posts are; None where there is none."""
        return next((winding for winding in self.windings if set(pair) <= set(winding.posts)), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class HypothesisList:
    """What a search found.

    Attributes:
        hypotheses: All that fit, best first.
        too_many: There are more than could be looked through.
    """

    hypotheses: tuple[TerminalHypothesis, ...]
    too_many: bool


@dataclass(frozen=True, slots=True)
class _Choice:
    """What the throttles move under one grouping: state to post, the states that move nothing, and those not seen."""

    movers: dict[int, int]
    still: tuple[int, ...]
    unseen: tuple[int, ...]


class HypothesisSearch:
    """Looks through the groupings of one supply's posts."""

    def __init__(self, readings: TerminalReadings) -> None:
        self._readings = readings
        self._fits: dict[tuple[Group, tuple[tuple[int, int], ...], tuple[int, ...]], list[FittedWinding]] = {}
        self._too_many = False

    def run(self) -> HypothesisList:
        """All hypotheses."""
        found: list[TerminalHypothesis] = []
        groupings = list(itertools.islice(self._groupings(), GROUPINGS_LIMIT + 1))
        self._too_many = len(groupings) > GROUPINGS_LIMIT
        least = inf
        alive = any(reading.volts > SMALLEST_WINDING_VOLTS for reading in self._readings.readings)
        for across, groups in sorted((misfit_across(self._readings, groups), groups) for groups in groupings[:GROUPINGS_LIMIT]):
            if across == inf or across > least + SEARCHED_MISFIT:
                break
            if alive and all(len(group) == 1 for group in groups):
                continue
            for choice in self._choices(groups):
                found += self._hypotheses(groups, choice, across)
            least = min((each.misfit for each in found), default=inf)
        return HypothesisList(hypotheses=tuple(sorted(found, key=lambda each: each.misfit)), too_many=self._too_many)

    def _groupings(self) -> Iterator[list[Group]]:
        """Ways to split the posts into windings and silent posts that no three posts and no pair speak against."""
        linked = _linked(self._readings)
        crooked = _crooked(self._readings)
        if not any(set(three) <= set(group) for three in crooked for group in linked):
            yield from _partitions(linked, crooked, self._may_be_group)

    def _may_be_group(self, group: Group) -> bool:
        """A winding has volts between its posts."""
        within = [reading.volts for reading in self._readings.readings if set(reading.pair) <= set(group)]
        return len(group) == 1 or not within or max(within) > SMALLEST_WINDING_VOLTS

    def _choices(self, groups: Sequence[Group], known: _Choice | None = None) -> Iterator[_Choice]:
        """What the throttles can have moved; where that is known of some, it helps to see what the others changed."""
        known = known or _Choice({}, (), tuple(self._readings.states[1:]))
        options = {state: self._options(state, groups, known) for state in known.unseen}
        seen = {state: posts for state, posts in options.items() if posts is not None}
        if any(not posts for posts in seen.values()):
            return
        if prod(len(posts) for posts in seen.values()) > CHOICES_LIMIT:
            self._too_many = True
            return
        blank = [state for state in known.unseen if state not in seen]
        still = tuple(state for state in blank if self._all_compared(state, groups, known))
        unseen = tuple(state for state in blank if state not in still)
        for posts in itertools.product(*seen.values()):
            movers = {**known.movers, **dict(zip(seen, posts, strict=True))}
            choice = _Choice(movers, (*known.still, *still), unseen)
            if len(set(movers.values())) < len(movers):
                continue
            if unseen and len(unseen) < len(known.unseen):
                yield from self._choices(groups, choice)
            else:
                yield choice

    def _options(self, state: int, groups: Sequence[Group], known: _Choice) -> list[int] | None:
        """Posts that the throttle can have moved: none where it changed pairs of two windings; None where it changed no pair."""
        changed = {group: pairs for group in groups if len(group) > 1 and (pairs := self._changed(state, group, known))}
        if len(changed) != 1:
            return [] if changed else None
        ((group, pairs),) = changed.items()
        return [group[1]] if len(group) == 2 else _moved_posts(pairs)

    def _changed(self, state: int, group: Group, known: _Choice) -> dict[Pair, float]:
        """Pairs within a group that a throttle changed, and by how many standard deviations."""
        found = {}
        for pair in itertools.combinations(group, 2):
            volts, low = self._readings.volts(state, pair), self._low_volts(group, pair, known)
            if volts is not None and low is not None:
                given_sigma = 0.0 if self._readings.volts(0, pair) is not None else GIVEN_SIGMA_VOLTS
                change = abs(volts - low) / hypot(sigma_volts(volts), sigma_volts(low), given_sigma)
                if change > CHANGED_SIGMAS:
                    found[pair] = change
        return found

    def _low_volts(self, group: Group, pair: Pair, known: _Choice) -> float | None:
        """Volts of a pair with all throttles low: as measured, else as the other pairs give them."""
        measured = self._readings.volts(0, pair)
        if measured is not None:
            return measured
        movers = {state: post for state, post in known.movers.items() if post in group}
        given = [fit.between(0, pair) for fit in self._fit(group, movers, known.unseen)]
        sure = [volts for volts in given if volts is not None]
        return sure[0] if len(sure) == len(given) > 0 and max(sure) - min(sure) < NOTHING_VOLTS else None

    def _all_compared(self, state: int, groups: Sequence[Group], known: _Choice) -> bool:
        """Whether every pair that the throttle could have changed was measured with it low and up; silent posts show nothing low."""
        silent = tuple(group[0] for group in groups if len(group) == 1)
        within = [(group, pair) for group in groups for pair in itertools.combinations(group, 2)]
        return all(self._readings.volts(state, pair) is not None for pair in itertools.combinations(silent, 2)) and all(
            self._readings.volts(state, pair) is not None and self._low_volts(group, pair, known) is not None
            for group, pair in within
        )

    def _hypotheses(self, groups: Sequence[Group], choice: _Choice, across: float) -> Iterator[TerminalHypothesis]:
        windings = [group for group in groups if len(group) > 1]
        fits = []
        for group in windings:
            movers = {state: post for state, post in choice.movers.items() if post in group}
            if len(movers) == len(group):
                return
            fits.append(self._fit(group, movers, choice.unseen))
        for chosen in itertools.product(*fits):
            yield TerminalHypothesis(
                windings=chosen,
                silent=tuple(group[0] for group in groups if len(group) == 1),
                still=choice.still,
                unseen=choice.unseen,
                misfit=across + sum(fit.misfit for fit in chosen),
            )

    def _fit(self, group: Group, movers: Mapping[int, int], left_out: tuple[int, ...]) -> list[FittedWinding]:
        key = (group, tuple(movers.items()), left_out)
        if key not in self._fits:
            self._fits[key] = self._fitted(group, movers, left_out)
        return self._fits[key]

    def _fitted(self, group: Group, movers: Mapping[int, int], left_out: tuple[int, ...]) -> list[FittedWinding]:
        """Each post is a point where it is low, each moved one a second point where it is high."""
        moved = list(movers.values())
        point = {post: k for k, post in enumerate(group)}
        high_point = {post: len(group) + k for k, post in enumerate(moved)}

        def at(state: int, post: int) -> int:
            return high_point[post] if movers.get(state) == post else point[post]

        distances = [
            Distance(
                ends=(at(reading.state, reading.pair[0]), at(reading.state, reading.pair[1])),
                volts=reading.volts,
                sigma_volts=reading.sigma_volts,
            )
            for reading in self._readings.readings
            if set(reading.pair) <= set(group) and reading.state not in left_out
        ]
        ways = placements(len(group) + len(moved), distances)
        self._too_many |= len(ways) > PLACEMENTS_LIMIT
        return [_winding(group, movers, way, (point, high_point)) for way in ways]


def _winding(
    group: Group, movers: Mapping[int, int], way: Placement, points: tuple[Mapping[int, int], Mapping[int, int]]
) -> FittedWinding:
    low, high = ({post: (way.places[k], way.islands[k]) for post, k in each.items()} for each in points)
    return FittedWinding(
        posts=group, movers=dict(movers), low=low, high=high, misfit=way.misfit + PLACE_MISFIT * (len(way.places) - 1)
    )


def _moved_posts(changed: Mapping[Pair, float]) -> list[int]:
    """Posts that the throttle can have moved: one of the pair that changed most, and one of every pair that changed."""
    most = max(changed, key=lambda pair: changed[pair])
    return [post for post in most if all(post in pair for pair in changed)]


def _linked(readings: TerminalReadings) -> list[Group]:
    """Posts that more than phantom volts join, in any state."""
    groups = [{post} for post in range(len(readings.posts))]
    for reading in readings.readings:
        if reading.volts > PHANTOM_LIMIT_VOLTS + WORST_SIGMAS * reading.sigma_volts:
            touched = [group for group in groups if group & set(reading.pair)]
            groups = [group for group in groups if group not in touched] + [set().union(*touched)]
    return sorted(tuple(sorted(group)) for group in groups)


def _crooked(readings: TerminalReadings) -> set[frozenset[int]]:
    """Three posts whose distances fit no line in some state: they are not all on one winding."""
    found = set()
    for three in itertools.combinations(range(len(readings.posts)), 3):
        for state in readings.states:
            volts = [readings.volts(state, pair) for pair in itertools.combinations(three, 2)]
            sides = sorted(v for v in volts if v is not None)
            if len(sides) == 3:
                off = abs(sides[2] - sides[1] - sides[0])
                if off > CHANGED_SIGMAS * hypot(*(sigma_volts(v) for v in sides)):
                    found.add(frozenset(three))
                    break
    return found


def _partitions(linked: Sequence[Group], crooked: set[frozenset[int]], may_be: Callable[[Group], bool]) -> Iterator[list[Group]]:
    """Ways to join linked posts to groups, without three posts that fit no line in one of them."""

    def straight(group: Group, more: Group) -> bool:
        joined = group + more
        return not any(
            frozenset(three) in crooked
            for three in itertools.combinations(joined, 3)
            if set(three) & set(group) and set(three) & set(more)
        )

    def grow(groups: list[Group], rest: Sequence[Group]) -> Iterator[list[Group]]:
        if not rest:
            final = [tuple(sorted(group)) for group in groups]
            if all(may_be(group) for group in final):
                yield sorted(final)
            return
        for k, group in enumerate(groups):
            if straight(group, rest[0]):
                yield from grow([*groups[:k], group + rest[0], *groups[k + 1 :]], rest[1:])
        yield from grow([*groups, rest[0]], rest[1:])

    yield from grow([], linked)
