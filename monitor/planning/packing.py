"""Packing whole loads onto outputs: the programme's variables and rows, for a given choice of which supply may carry what.

Needs that are alike are one variable with a count; supplies and outputs that are alike are filled in order.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from monitor.planning.programme import LinearProgram, Values

if TYPE_CHECKING:
    # Only names for types: the programme is given these values and never makes them.
    from monitor.planning.sharing import Need, Offer, ShareOptions

LEAVE_OUT_PRICE = 1e4
STRETCH_PRICE = 10.0
STRETCH_LIMIT_VA = 1e5
SLACK = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class Assignment:
    """What the solver found, by index.

    Attributes:
        places: Need index to (offer index, output index).
        extra_va: Offer index to how much larger it would have to be.
        proven: False where time ran out before the plan was proven best.
    """

    places: dict[int, tuple[int, int]]
    extra_va: dict[int, float]
    proven: bool


@dataclass(frozen=True, slots=True)
class Group:
    """Needs that are alike.

    Attributes:
        members: Their indices.
        need: The first of them, for its figures.
        suits: Indices of the offers on which it may go.
    """

    members: tuple[int, ...]
    need: Need
    suits: tuple[int, ...]

    @property
    def va(self) -> float:
        """Of one of them."""
        return self.need.amps * self.need.volts


@dataclass(frozen=True, slots=True)
class Bin:
    """An output, or a whole supply where no output's own limit can ever bind."""

    offer: int
    output: int
    amps: float
    is_whole: bool = False


Allowed = Callable[[Group, int], bool]


class Packing:
    """The programme of one packing, with the numbers of its variables.

    Args:
        groups: Needs by kind.
        offers: What can give power.
        options: The reserve.
        allowed: Whether a group may go on an offer, beyond what suits it.
        may_leave_out: Needs may stay without a place, at a price above all others.
        may_stretch: Supplies may be made larger, at a price per VA.
    """

    def __init__(
        self,
        groups: Sequence[Group],
        offers: Sequence[Offer],
        options: ShareOptions,
        *,
        allowed: Allowed = lambda _group, _offer: True,
        may_leave_out: bool = False,
        may_stretch: bool = False,
    ) -> None:
        self._programme = LinearProgram()
        self._groups, self._offers, self._allowed = groups, offers, allowed
        self._free = 1 - options.reserve
        self._bins = [made for s, offer in enumerate(offers) for made in bins_of(s, offer)]
        column = self._programme.column
        self._extra = [column(STRETCH_PRICE, upper=STRETCH_LIMIT_VA, whole=False) for _ in offers] if may_stretch else []
        self._x = {
            (g, b): column(0.0, upper=float(self._most(group, made)))
            for g, group in enumerate(groups)
            for b, made in enumerate(self._bins)
            if made.offer in group.suits and allowed(group, made.offer) and self._most(group, made) > 0
            if made.is_whole or made.output in outputs_for(group.need, offers[made.offer])
        }
        self._place_each(may_leave_out=may_leave_out)
        for s in range(len(offers)):
            self._limit(s)
        self._order()

    def join_commons(self) -> None:
        """Needs that share a common go on one supply, or on supplies of one phase group."""
        marks = phase_marks(self._offers)
        for common in sorted({group.need.common for group in self._groups if group.need.common}):
            chosen = {mark: self._programme.column(0.0) for mark in sorted(set(marks))}
            self._programme.row(dict.fromkeys(chosen.values(), 1.0), 0.0, 1.0)
            for (g, b), column in self._x.items():
                if self._groups[g].need.common == common:
                    mark = chosen[marks[self._bins[b].offer]]
                    self._programme.row({column: 1.0, mark: -self._programme.upper[column]}, -np.inf, 0.0)

    def solved(self, within_s: float) -> Assignment | None:
        """The best packing; None where there is none.

        Raises:
            Undecided: Time ran out before one was found.
        """
        found = self._programme.solved(within_s)
        return None if found is None else self._assignment(*found)

    def _most(self, group: Group, made: Bin) -> int:
        """How many needs of a group fit on a bin at the very most."""
        if group.need.amps <= 0:
            return len(group.members)
        return min(len(group.members), int(self._free * made.amps / group.need.amps + SLACK))

    def _place_each(self, *, may_leave_out: bool) -> None:
        column = self._programme.column
        for g, group in enumerate(self._groups):
            count = float(len(group.members))
            terms = {x: 1.0 for (h, _), x in self._x.items() if h == g}
            if may_leave_out:
                terms[column(LEAVE_OUT_PRICE + group.va, upper=count)] = 1.0
            self._programme.row(terms or {column(0.0, upper=0.0): 1.0}, count, count)

    def _limit(self, s: int) -> None:
        offer, free = self._offers[s], self._free
        stretch = {self._extra[s]: -free} if self._extra else {}
        of_it = self._on_offer(s)
        if not of_it:
            return
        va = {column: group.va for column, group in of_it.items()}
        self._programme.row({**va, **stretch}, -np.inf, free * offer.usable_va + SLACK)
        # A larger rating of the same volts brings winding amps in proportion.
        more = {column: factor / offer.max_volts for column, factor in stretch.items()}
        amps = {column: group.need.amps for column, group in of_it.items()}
        self._programme.row({**amps, **more}, -np.inf, free * offer.winding_amps + SLACK)
        for b, each in enumerate(self._bins):
            if each.offer == s and not (self._extra and is_whole(offer)):
                own = {column: self._groups[g].need.amps for (g, c), column in self._x.items() if c == b}
                self._programme.row(own or {0: 0.0}, -np.inf, free * each.amps + SLACK)

    def _order(self) -> None:
        """Supplies that are alike and may carry the same are filled in order; so are outputs that are alike."""
        for s, t in twins(self._offers):
            if all(self._allowed(group, s) == self._allowed(group, t) for group in self._groups):
                self._fuller(self._on_offer(s), self._on_offer(t))
        for one, other in zip(self._bins, self._bins[1:], strict=False):
            fixed = self._offers[one.offer].fixed_outputs
            if (one.offer, one.amps, one.output in fixed) == (other.offer, other.amps, other.output in fixed):
                self._fuller(self._on_bin(one), self._on_bin(other))

    def _fuller(self, one: dict[int, Group], other: dict[int, Group]) -> None:
        terms = {column: group.va for column, group in one.items()} | {column: -group.va for column, group in other.items()}
        if terms:
            self._programme.row(terms, 0.0, np.inf)

    def _on_offer(self, s: int) -> dict[int, Group]:
        """Column to group, for all of an offer."""
        return {column: self._groups[g] for (g, b), column in self._x.items() if self._bins[b].offer == s}

    def _on_bin(self, made: Bin) -> dict[int, Group]:
        """Column to group, for one output."""
        return {column: self._groups[g] for (g, b), column in self._x.items() if self._bins[b] == made}

    def _assignment(self, values: Values, proven: bool) -> Assignment:  # noqa: FBT001 - as the solver gives it
        places: dict[int, tuple[int, int]] = {}
        left = {g: list(group.members) for g, group in enumerate(self._groups)}
        for (g, b), column in self._x.items():
            each = self._bins[b]
            for _ in range(round(float(values[column]))):
                places[left[g].pop(0)] = (each.offer, each.output)
        extra = {s: float(values[column]) for s, column in enumerate(self._extra)}
        return Assignment(places=places, extra_va=extra, proven=proven)


def groups_of(needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions, *, stretch: bool = False) -> list[Group]:
    """Needs that are alike in all but their name, together."""
    alike: dict[tuple[object, ...], list[int]] = {}
    for n, need in enumerate(needs):
        alike.setdefault((need.use, need.current, need.amps, need.volts, need.common), []).append(n)
    return [
        Group(
            tuple(members),
            needs[members[0]],
            tuple(s for s, offer in enumerate(offers) if suits(needs[members[0]], offer, options, stretch=stretch)),
        )
        for members in alike.values()
    ]


def suits(need: Need, offer: Offer, options: ShareOptions, *, stretch: bool = False) -> bool:
    """Whether a need may go on an offer at all; with ``stretch`` the offer's total may be anything."""
    free = 1 - options.reserve
    right_current = need.current is None or need.current == offer.current
    if not right_current or need.volts > offer.max_volts + SLACK or not offer.fit:
        return False
    outputs = outputs_for(need, offer)
    if not outputs:
        return False
    if stretch:
        return is_whole(offer) or need.amps <= free * max(outputs.values()) + SLACK
    fits_total = need.amps <= free * offer.winding_amps + SLACK and need.amps * need.volts <= free * offer.usable_va + SLACK
    return fits_total and need.amps <= free * max(outputs.values()) + SLACK


def outputs_for(need: Need, offer: Offer) -> dict[int, float]:
    """Outputs of an offer on which a need may go, and their amps: track wants a throttle."""
    return {o: amps for o, amps in enumerate(offer.output_amps) if need.use != "track" or o not in offer.fixed_outputs}


def spread_outputs(places: Mapping[int, tuple[int, int]], needs: Sequence[Need], offers: Sequence[Offer]) -> dict[int, int]:
    """Output by need: as packed, or spread over the outputs where only the whole of a supply binds; accessories off the throttles first."""
    outputs = {n: o for n, (_, o) in places.items()}
    for s, offer in enumerate(offers):
        on_it = sorted((n for n, (t, _) in places.items() if t == s), key=lambda n: (needs[n].use != "track", -needs[n].amps, n))
        taken = dict.fromkeys(range(len(offer.output_amps)), 0.0)
        for n in on_it if is_whole(offer) else ():
            may = outputs_for(needs[n], offer)
            outputs[n] = min(may, key=lambda o: (needs[n].use != "track" and o not in offer.fixed_outputs, taken[o], o))
            taken[outputs[n]] += needs[n].amps
    return outputs


def is_whole(offer: Offer) -> bool:
    """Whether no output's own limit can bind before the winding's."""
    return min(offer.output_amps) >= offer.winding_amps


def bins_of(s: int, offer: Offer) -> Iterator[Bin]:
    """The outputs of an offer, or the whole of it where that is all that binds."""
    if is_whole(offer):
        yield Bin(s, 0, min(offer.output_amps), is_whole=True)
        return
    for o, amps in enumerate(offer.output_amps):
        yield Bin(s, o, amps)


def twins(offers: Sequence[Offer]) -> Iterator[tuple[int, int]]:
    """Neighbours among offers that differ in nothing but their name."""
    last: dict[tuple[object, ...], int] = {}
    for s, offer in enumerate(offers):
        mark = (
            offer.current, offer.usable_va, offer.max_volts, offer.output_amps, offer.winding_amps, offer.fixed_outputs, offer.price,
            offer.phase_group, offer.fit,
        )  # fmt: skip
        if mark in last:
            yield last[mark], s
        last[mark] = s


def phase_marks(offers: Sequence[Offer]) -> list[str]:
    """Offers whose commons may meet have the same mark."""
    return [offer.phase_group or f"alone {s}" for s, offer in enumerate(offers)]
