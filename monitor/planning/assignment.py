"""The mixed-integer programme behind sharing: its variables, rows and the solver call.

In two stages, which keeps it exact and fast: first needs are placed on supplies, then each supply's needs on its outputs. Where a
supply's needs cannot be told apart over its outputs, that set is forbidden and the first stage solved again (a combinatorial cut).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    # Only names for types: the programme is given these values and never makes them.
    from monitor.planning.sharing import Need, Offer, ShareOptions

LEAVE_OUT_PRICE = 1e4
STRETCH_PRICE = 10.0
TIME_LIMIT_S = 1.5
"""For one call of the solver; the best plan found by then is taken."""
CUTS_LIMIT = 50


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


@dataclass(slots=True)
class _Programme:
    """Columns (variables) and rows (constraints) as they are added."""

    cost: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    whole: list[int] = field(default_factory=list)
    rows: list[dict[int, float]] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def column(self, cost: float, *, upper: float = 1.0, whole: bool = True) -> int:
        self.cost.append(cost)
        self.upper.append(upper)
        self.whole.append(int(whole))
        return len(self.cost) - 1

    def row(self, terms: dict[int, float], low: float, high: float) -> None:
        self.rows.append(terms)
        self.low.append(low)
        self.high.append(high)


_Places = dict[tuple[int, int], int]


def solve(
    needs: Sequence[Need],
    offers: Sequence[Offer],
    options: ShareOptions,
    *,
    may_leave_out: bool,
    may_stretch: bool = False,
    barred_sets: Sequence[frozenset[str]] = (),
) -> Assignment | None:
    """Solve one variant; None where it has no solution.

    Args:
        needs: What wants power.
        offers: What can give it.
        options: Reserve and what neatness is worth.
        may_leave_out: Needs may stay without a place, at a price above all others.
        may_stretch: Supplies may be made larger, at a price per VA.
        barred_sets: Sets of used supplies that may not come again.
    """
    programme = _Programme()
    place = {
        (n, s): programme.column(0.0)
        for n, need in enumerate(needs)
        for s, offer in enumerate(offers)
        if _suits(need, offer, options)
    }
    used = [programme.column(offer.price + options.used_price) for offer in offers]
    extra = [programme.column(STRETCH_PRICE, upper=1e5 if may_stretch else 0.0, whole=False) for _ in offers]
    _one_place_each(programme, needs, place, may_leave_out=may_leave_out)
    for s, offer in enumerate(offers):
        on_it = {n: column for (n, supply), column in place.items() if supply == s}
        _limits(programme, needs, offer, on_it, (used[s], extra[s]), options)
        _mixing(programme, needs, on_it, options.mix_price)
    _commons(programme, needs, offers, place)
    for barred in barred_sets:
        terms = {used[s]: (-1.0 if offer.name in barred else 1.0) for s, offer in enumerate(offers)}
        programme.row(terms, 1.0 - len(barred), np.inf)
    return _solve_with_cuts(programme, needs, offers, options, place, extra)


def _suits(need: Need, offer: Offer, options: ShareOptions) -> bool:
    right_current = need.current is None or need.current == offer.current
    fits_an_output = need.amps <= (1 - options.reserve) * max(offer.output_amps, default=0.0) + 1e-9
    return right_current and fits_an_output and need.volts <= offer.max_volts + 1e-9 and (offer.fit or offer.override)


def _one_place_each(programme: _Programme, needs: Sequence[Need], place: _Places, *, may_leave_out: bool) -> None:
    for n, need in enumerate(needs):
        terms = {column: 1.0 for (m, _), column in place.items() if m == n}
        if may_leave_out:
            terms[programme.column(LEAVE_OUT_PRICE * (1 + need.amps * need.volts))] = 1.0
        programme.row(terms or {programme.column(0.0, upper=0.0): 1.0}, 1.0, 1.0)


def _limits(
    programme: _Programme,
    needs: Sequence[Need],
    offer: Offer,
    on_it: dict[int, int],
    columns: tuple[int, int],
    options: ShareOptions,
) -> None:
    used, extra = columns
    free = 1 - options.reserve
    va = {column: needs[n].amps * needs[n].volts for n, column in on_it.items()}
    programme.row({**va, used: -free * offer.usable_va, extra: -free}, -np.inf, 0.0)
    amps = {column: needs[n].amps for n, column in on_it.items()}
    # A larger rating of the same volts brings winding amps in proportion.
    programme.row({**amps, used: -free * offer.winding_amps, extra: -free / offer.max_volts}, -np.inf, 0.0)
    programme.row({**amps, used: -free * sum(offer.output_amps)}, -np.inf, 0.0)
    # A supply that carries nothing does not count as used, and what carries something does.
    programme.row({**dict.fromkeys(on_it.values(), 1.0), used: -1.0}, 0.0, np.inf)
    for column in on_it.values():
        programme.row({column: 1.0, used: -1.0}, -np.inf, 0.0)


def _mixing(programme: _Programme, needs: Sequence[Need], on_it: dict[int, int], mix_price: float) -> None:
    """One column that is 1 where track and accessories meet on the supply."""
    columns = {use: [column for n, column in on_it.items() if needs[n].use == use] for use in ("track", "accessories")}
    if not mix_price or not all(columns.values()):
        return
    has = {use: programme.column(0.0, whole=False) for use in columns}
    for use, of_use in columns.items():
        for column in of_use:
            programme.row({column: 1.0, has[use]: -1.0}, -np.inf, 0.0)
    both = programme.column(mix_price, whole=False)
    programme.row({has["track"]: 1.0, has["accessories"]: 1.0, both: -1.0}, -np.inf, 1.0)


def _commons(programme: _Programme, needs: Sequence[Need], offers: Sequence[Offer], place: _Places) -> None:
    """Needs that share a common go on one supply, or on supplies of one phase group."""
    marks = [offer.phase_group or f"alone {s}" for s, offer in enumerate(offers)]
    for common in sorted({need.common for need in needs if need.common}):
        members = [n for n, need in enumerate(needs) if need.common == common]
        chosen = {mark: programme.column(0.0) for mark in sorted(set(marks))}
        programme.row(dict.fromkeys(chosen.values(), 1.0), 0.0, 1.0)
        for (n, s), column in place.items():
            if n in members:
                programme.row({column: 1.0, chosen[marks[s]]: -1.0}, -np.inf, 0.0)


def _solve_with_cuts(
    programme: _Programme, needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions, place: _Places, extra: list[int]
) -> Assignment | None:
    for _ in range(CUTS_LIMIT):
        solved = _run(programme)
        if solved is None:
            return None
        values, proven = solved
        carried = {
            s: [n for (n, supply), column in place.items() if supply == s and values[column] > 0.5] for s in range(len(offers))
        }
        packed = {s: _pack(members, needs, offers[s], options) for s, members in carried.items()}
        bad = [s for s, outputs in packed.items() if outputs is None]
        if not bad:
            places = {n: (s, o) for s, outputs in packed.items() for n, o in (outputs or {}).items()}
            return Assignment(places=places, extra_va={s: float(values[c]) for s, c in enumerate(extra)}, proven=proven)
        for s in bad:
            programme.row({place[n, s]: 1.0 for n in carried[s]}, -np.inf, len(carried[s]) - 1.0)
    return None


def _pack(members: list[int], needs: Sequence[Need], offer: Offer, options: ShareOptions) -> dict[int, int] | None:
    """Needs of one supply onto its outputs; None where no way fits."""
    limits = [(1 - options.reserve) * amps + 1e-9 for amps in offer.output_amps]
    order = sorted(members, key=lambda n: -needs[n].amps)
    quick = _pack_first_fit(order, needs, limits)
    if quick is not None or len(limits) == 1:
        return quick
    programme = _Programme()
    column = {(n, o): programme.column(0.0) for n, o in itertools.product(order, range(len(limits)))}
    for n in order:
        programme.row({column[n, o]: 1.0 for o in range(len(limits))}, 1.0, 1.0)
    for o, limit in enumerate(limits):
        programme.row({column[n, o]: needs[n].amps for n in order}, -np.inf, limit)
    solved = _run(programme)
    return None if solved is None else {n: o for (n, o), c in column.items() if solved[0][c] > 0.5}


def _pack_first_fit(order: list[int], needs: Sequence[Need], limits: list[float]) -> dict[int, int] | None:
    left, outputs = list(limits), {}
    for n in order:
        output = next((o for o, amps in enumerate(left) if needs[n].amps <= amps), None)
        if output is None:
            return None
        outputs[n] = output
        left[output] -= needs[n].amps
    return outputs


def _run(programme: _Programme) -> tuple[np.ndarray[tuple[int], np.dtype[np.float64]], bool] | None:
    # SciPy takes a quarter of a second to import: only who shares pays for it.
    from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415
    from scipy.sparse import csr_array  # noqa: PLC0415

    at = [(r, column, value) for r, terms in enumerate(programme.rows) for column, value in terms.items()]
    rows, columns, values = zip(*at, strict=True)
    matrix = csr_array((values, (rows, columns)), shape=(len(programme.rows), len(programme.cost)))
    found = milp(
        np.array(programme.cost),
        integrality=np.array(programme.whole),
        bounds=Bounds(0, np.array(programme.upper)),
        constraints=LinearConstraint(matrix, np.array(programme.low), np.array(programme.high)),
        options={"time_limit": TIME_LIMIT_S, "mip_rel_gap": 1e-4},
    )
    return None if found.x is None else (found.x, bool(found.status == 0))
