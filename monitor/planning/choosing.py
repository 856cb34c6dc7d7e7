"""Choosing which supply carries which use, with loads that may be divided: the first half of sharing, and a bound for the whole.

What a plan costs depends on this choice alone: which supplies are used, which carry track and accessories together. Loads of the same
volts flow here like water, so the programme is small; rows of how many large loads a supply can take keep it close to the truth.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from monitor.planning.packing import SLACK, Group, phase_marks, twins
from monitor.planning.programme import LinearProgram

if TYPE_CHECKING:
    from monitor.planning.sharing import Need, Offer, ShareOptions

USES = ("track", "accessories")

Switch = tuple[str, int] | tuple[str, str]
"""(use, offer) or (common, phase mark): turning one on only adds room."""


@dataclass(frozen=True, slots=True)
class _Class:
    """Groups that flow alike: the same use, volts, common and suitable offers."""

    use: str
    volts: float
    common: str
    suits: tuple[int, ...]


class Choosing:
    """The programme of the choice.

    Args:
        groups: Needs by kind.
        offers: What can give power.
        options: Reserve and what neatness is worth.
        barred_sets: Sets of offers, by index, of each of which at least one has to be done without.
    """

    def __init__(
        self, groups: Sequence[Group], offers: Sequence[Offer], options: ShareOptions, barred_sets: Iterable[frozenset[int]] = ()
    ) -> None:
        self._groups, self._offers, self._options = groups, offers, options
        self._free = 1 - options.reserve
        self._programme = LinearProgram()
        column = self._programme.column
        self._used = [column(offer.price + options.used_price) for offer in offers]
        self.switches: dict[Switch, int] = {}
        self._uses = [use for use in USES if any(group.need.use == use for group in groups)]
        for s in range(len(offers)):
            self._switch_uses(s)
        self._flow = self._flows()
        self._limits()
        self._commons()
        for use in self._uses:
            self._enough(use)
        for s, t in twins(offers):
            self._programme.row({self._used[s]: 1.0, self._used[t]: -1.0}, 0.0, np.inf)
        for barred in barred_sets:
            self._programme.row({self._used[s]: 1.0 for s in barred}, 0.0, len(barred) - 1.0)

    def next(self, within_s: float) -> tuple[set[Switch], bool] | None:
        """Switches that are on in the cheapest choice left, and whether it is proven cheapest; None where none is left.

        Raises:
            Undecided: Time ran out.
        """
        found = self._programme.solved(within_s)
        if found is None:
            return None
        values, proven = found
        return {switch for switch, column in self.switches.items() if values[column] > 0.5}, proven

    def off_by_price(self, on: set[Switch]) -> list[Switch]:
        """Switches that are off in a choice, those first that cost least to turn on."""
        used = {s for use, s in on if use in USES}

        def price(switch: Switch) -> float:
            use, s = switch
            if use not in USES or not isinstance(s, int):
                return 0.0
            return self._options.mix_price if s in used else self._offers[s].price + self._options.used_price

        return sorted((switch for switch in self.switches if switch not in on), key=price)

    def forbid(self, on: set[Switch]) -> None:
        """Whole loads do not fit into this choice: something that is off in it has to be on."""
        off = {column: 1.0 for switch, column in self.switches.items() if switch not in on}
        self._programme.row(off or {0: 0.0}, 1.0, np.inf)

    def _switch_uses(self, s: int) -> None:
        row, column = self._programme.row, self._programme.column
        for use in self._uses:
            self.switches[use, s] = column(0.0)
            row({self.switches[use, s]: 1.0, self._used[s]: -1.0}, -np.inf, 0.0)
        row({**{self.switches[use, s]: 1.0 for use in self._uses}, self._used[s]: -1.0}, 0.0, np.inf)
        if len(self._uses) == len(USES) and self._options.mix_price:
            both = column(self._options.mix_price)
            row({**{self.switches[use, s]: 1.0 for use in USES}, both: -1.0, self._used[s]: -1.0}, -np.inf, 0.0)

    def _flows(self) -> dict[tuple[_Class, int], int]:
        amps: dict[_Class, float] = {}
        for group in self._groups:
            kind = _Class(group.need.use, group.need.volts, group.need.common, group.suits)
            amps[kind] = amps.get(kind, 0.0) + group.need.amps * len(group.members)
        flow = {
            (kind, s): self._programme.column(0.0, upper=all_of_it, whole=False)
            for kind, all_of_it in amps.items()
            for s in kind.suits
        }
        for kind, all_of_it in amps.items():
            terms = {flow[kind, s]: 1.0 for s in kind.suits} or {self._programme.column(0.0, upper=0.0): 1.0}
            # A group without any suitable offer has no place even where it draws nothing.
            self._programme.row(terms, all_of_it if kind.suits else 1.0, np.inf)
        return flow

    def _limits(self) -> None:
        for s, offer in enumerate(self._offers):
            amps = self._free * min(offer.winding_amps, sum(offer.output_amps)) + SLACK
            va = self._free * offer.usable_va + SLACK
            for use in (None, *self._uses):
                flows = {c: kind.volts for (kind, t), c in self._flow.items() if t == s and use in (None, kind.use)}
                if flows:
                    on = self._used[s] if use is None else self.switches[use, s]
                    self._programme.row({**flows, on: -va}, -np.inf, 0.0)
                    self._programme.row({**dict.fromkeys(flows, 1.0), on: -amps}, -np.inf, 0.0)

    def _commons(self) -> None:
        marks = phase_marks(self._offers)
        for common in sorted({group.need.common for group in self._groups if group.need.common}):
            for mark in sorted(set(marks)):
                self.switches[common, mark] = self._programme.column(0.0)
            chosen = {self.switches[common, mark]: 1.0 for mark in set(marks)}
            self._programme.row(chosen, 0.0, 1.0)
            for (kind, s), column in self._flow.items():
                if kind.common == common:
                    most = self._programme.upper[column]
                    self._programme.row({column: 1.0, self.switches[common, marks[s]]: -most}, -np.inf, 0.0)

    def _enough(self, use: str) -> None:
        """What all needs of a use want against what the supplies that carry it could take together."""
        of_use = [group for group in self._groups if group.need.use == use]
        for suited in sorted({group.suits for group in of_use if group.suits}):
            inside = [group for group in of_use if set(group.suits) <= set(suited)]
            on = {s: self.switches[use, s] for s in suited}
            va = sum(group.va * len(group.members) for group in inside)
            room = {on[s]: self._free * self._offers[s].usable_va for s in suited}
            self._programme.row(room, va * (1 - 1e-9), np.inf)
            amps = sum(group.need.amps * len(group.members) for group in inside)
            room = {on[s]: self._free * min(o.winding_amps, sum(o.output_amps)) for s in suited for o in [self._offers[s]]}
            self._programme.row(room, amps * (1 - 1e-9), np.inf)
            for size in sorted({group.need.amps for group in inside if group.need.amps > 0}):
                self._large(on, [group for group in inside if group.need.amps >= size])
            for size in sorted({group.va for group in inside if group.va > 0}):
                self._large(on, [group for group in inside if group.va >= size])

    def _large(self, on: dict[int, int], large: list[Group]) -> None:
        """Of needs of a size and more, each supply takes a whole number at most."""
        count = sum(len(group.members) for group in large)
        amps, va = min(group.need.amps for group in large), min(group.va for group in large)
        room = {on[s]: float(min(count, self._whole_number(self._offers[s], amps, va))) for s in on}
        self._programme.row(room, float(count), np.inf)

    def _whole_number(self, offer: Offer, amps: float, va: float) -> int:
        free = self._free
        by_outputs = sum(int(free * each / amps + SLACK) for each in offer.output_amps)
        return min(by_outputs, int(free * offer.winding_amps / amps + SLACK), int(free * offer.usable_va / va + SLACK))


def allows(on: set[Switch], offers: Sequence[Offer], group: Group, s: int) -> bool:
    """Whether a choice lets a group go on an offer."""
    need: Need = group.need
    if (need.use, s) not in on:
        return False
    return not need.common or (need.common, phase_marks(offers)[s]) in on
