"""Solving the sharing: exactly, and fast where it is tight.

First the cheapest choice of what each supply carries is found with loads that may be divided; then whole loads are packed into just
that choice. Where they fit, nothing cheaper exists. Where they cannot, something that was off has to be on: that becomes a row of the
first programme, and so on (logic-based Benders decomposition, Hooker and Ottosson 2003). HiGHS solves both.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from monitor.planning.choosing import Choosing, Switch, allows
from monitor.planning.packing import Assignment, Packing, groups_of
from monitor.planning.programme import Undecided

if TYPE_CHECKING:
    # Only names for types: these values are given and never made here.
    from monitor.planning.sharing import Need, Offer, ShareOptions

PACKING_SHARE = 0.4
"""Of all the time, for packing one choice; a choice that is not decided by then is passed over, and the plan not said to be proven."""
TRYING_SHARE = 0.07
"""For finding out how much more could be turned on in vain."""


def solve_exactly(
    needs: Sequence[Need],
    offers: Sequence[Offer],
    options: ShareOptions,
    *,
    within_s: float,
    barred_sets: Iterable[frozenset[int]] = (),
) -> Assignment | None:
    """The cheapest plan where everything has a place; None where there is none.

    Args:
        needs: What wants power.
        offers: What can give it.
        options: Reserve and what neatness is worth.
        within_s: Time for all of it.
        barred_sets: Sets of offers, by index, of each of which at least one has to be done without.

    Raises:
        Undecided: Time ran out before a plan was found or shown not to exist.
    """
    return _Search(needs, offers, options, within_s, barred_sets).run()


class _Search:
    """One search: choices from cheap to dear, each packed."""

    def __init__(
        self,
        needs: Sequence[Need],
        offers: Sequence[Offer],
        options: ShareOptions,
        within_s: float,
        barred_sets: Iterable[frozenset[int]],
    ) -> None:
        self._within_s = within_s
        self._until_s = time.monotonic() + within_s
        self._offers, self._options = offers, options
        self._groups = groups_of(needs, offers, options)
        self._choosing = Choosing(self._groups, offers, options, barred_sets)
        self._proven = True

    def run(self) -> Assignment | None:
        while True:
            chosen = self._choosing.next(self._left_s)
            if chosen is None:
                if self._proven:
                    return None
                raise Undecided
            on, cheapest = chosen
            found = self._packed(on)
            if found is not None:
                return Assignment(places=found.places, extra_va={}, proven=self._proven and cheapest)
            self._choosing.forbid(self._as_much(on))
            if self._left_s <= 0:
                raise Undecided

    @property
    def _left_s(self) -> float:
        return self._until_s - time.monotonic()

    def _packed(self, on: set[Switch]) -> Assignment | None:
        try:
            return self._tried(on, PACKING_SHARE)
        except Undecided:
            self._proven = False
            return None

    def _tried(self, on: set[Switch], share: float) -> Assignment | None:
        packing = Packing(self._groups, self._offers, self._options, allowed=lambda group, s: allows(on, self._offers, group, s))
        return packing.solved(min(share * self._within_s, self._left_s))

    def _as_much(self, on: set[Switch]) -> set[Switch]:
        """A choice that fails, with as much turned on as can be without its fitting: it rules out the more."""
        for switch in self._choosing.off_by_price(on):
            try:
                if self._tried(on | {switch}, TRYING_SHARE) is None:
                    on = on | {switch}
            except Undecided:
                continue
        return on
