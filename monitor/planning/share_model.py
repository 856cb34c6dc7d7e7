"""The sharing as a mixed-integer programme, put together plainly and solved by HiGHS.

One whole number says how many of a group of like needs go on a bin: an output with a limit of its own, or all outputs of a kind that only
the whole supply bounds. The solver counts the branches that it looks at and no time, so the same input gives the same answer everywhere.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import ModuleType
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from monitor.errors import MissingPackageError
from monitor.planning.share_values import Need, Offer, OfferOutput

SLACK = 1e-9
Place = tuple[int, int]
"""(offer, output), both from 0."""


@dataclass(frozen=True, slots=True)
class Bin:
    """Outputs of one offer that are alike: one with a limit of its own, or several that only the whole supply bounds."""

    offer: int
    outputs: tuple[int, ...]
    own_amps: float | None


@dataclass(frozen=True, slots=True)
class Found:
    """How a solution came out.

    Attributes:
        status: "proven" (nothing better exists), "found" (the work ran out before that was shown), "impossible" (shown to have none) or
            "unknown" (the work ran out before one was found).
        places: Need to its place.
        extra_amps: By offer: so much more than it is rated for.
    """

    status: Literal["proven", "found", "impossible", "unknown"]
    places: dict[int, Place]
    extra_amps: dict[int, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What is to be shared, and how far.

    Attributes:
        offers: What can give it; all fit.
        reserve: Share of every limit kept free.
        work: Branches that the solver may look at.
        spending_limit: The most that may be spent; infinite where there is no limit.
    """

    needs: Sequence[Need]
    offers: Sequence[Offer]
    reserve: float
    work: int
    spending_limit: float


def may_go(need: Need, output: OfferOutput) -> bool:
    """Whether an output suits a need at all, apart from amps."""
    right_current = need.current in (None, output.current)
    volts_reach = need.volts <= output.volts + SLACK
    not_too_many = output.is_variable or output.volts <= need.most_volts + SLACK
    return right_current and volts_reach and not_too_many and (need.use != "track" or output.is_variable)


class ShareModel:
    """The programme.

    Args:
        task: What is to be shared.
        stretch: The supplies may be rated for more than they are, at a cost; what an output's own limit says stays.
        by_place: Needs that are alike but stand at different places today are told apart.
    """

    def __init__(self, task: Task, *, stretch: bool = False, by_place: bool = False) -> None:
        self._task, self._stretch = task, stretch
        self.bins = [each for s, offer in enumerate(task.offers) for each in _bins(s, offer, keep_limits=stretch)]
        self._cost: list[float] = []
        self._upper: list[float] = []
        self._continuous: set[int] = set()
        self._rows: list[tuple[dict[int, float], float, float]] = []
        self.groups = _groups(task.needs, by_place=by_place)
        self.left = [self._column(len(group)) for group in self.groups]
        self.bought = [self._column(1) for _ in task.offers]
        everything = sum(need.amps for need in task.needs) / (1 - task.reserve)
        self._extra = [self._column(everything, is_whole=False) for _ in task.offers] if stretch else []
        self.placed = {
            (g, b): self._column(len(group))
            for g, group in enumerate(self.groups)
            for b, each in enumerate(self.bins)
            if self._suits(task.needs[group[0]], each)
        }
        self._limits()
        self._commons()
        if math.isfinite(task.spending_limit):
            self.row({self.bought[s]: offer.price for s, offer in enumerate(task.offers)}, most=task.spending_limit + SLACK)

    def row(self, terms: Mapping[int, float], *, least: float = -math.inf, most: float = math.inf) -> None:
        """A constraint: least <= sum of terms <= most."""
        self._rows.append((dict(terms), least, most))

    def cost(self, column: int, each: float) -> None:
        """What one of a column counts in what is minimised."""
        self._cost[column] += each

    def cost_of_extra(self) -> None:
        """Minimise the volt-amperes by which supplies would have to be larger."""
        for column, offer in zip(self._extra, self._task.offers, strict=True):
            self.cost(column, offer.max_volts)

    def mixed_column(self, s: int) -> int:
        """A column that is 1 where an offer carries track and accessories together."""
        use_columns = {use: self._column(1) for use in ("track", "accessories")}
        for (g, b), column in self.placed.items():
            if self.bins[b].offer == s:
                self.row({column: 1.0, use_columns[self._need(g).use]: -float(len(self.groups[g]))}, most=0.0)
        mixed = self._column(1)
        self.row({mixed: 1.0, use_columns["track"]: -1.0, use_columns["accessories"]: -1.0}, least=-1.0)
        return mixed

    def solved(self, start: Mapping[int, Place] | None = None) -> Found:
        """The best that the work allows.

        Args:
            start: Places of a solution that is known already.
        """
        if not self._cost:
            return Found("proven", {}, {})
        # HiGHS takes a moment to import, and is not to be had for every computer: only who shares pays for it.
        try:
            import highspy  # noqa: PLC0415
        except ImportError as error:
            raise MissingPackageError("sharing the load", "highspy") from error

        solver = highspy.Highs()
        solver.setOptionValue("output_flag", False)  # noqa: FBT003 - as the library has it
        for option, value in (("threads", 1), ("mip_rel_gap", 0.0), ("mip_max_nodes", self._task.work)):
            solver.setOptionValue(option, value)
        solver.passModel(self._as_lp(highspy))
        if start is not None:
            known = highspy.HighsSolution()
            known.col_value = self._values_of(start)
            solver.setSolution(known)
        solver.run()
        status = solver.getModelStatus()
        if solver.getInfo().primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
            none = status in (highspy.HighsModelStatus.kInfeasible, highspy.HighsModelStatus.kUnboundedOrInfeasible)
            return Found("impossible" if none else "unknown", {}, {})
        values = np.asarray(solver.getSolution().col_value)
        extra = {s: float(values[column]) for s, column in enumerate(self._extra)}
        return Found("proven" if status == highspy.HighsModelStatus.kOptimal else "found", self._places(values), extra)

    def _need(self, g: int) -> Need:
        return self._task.needs[self.groups[g][0]]

    def _column(self, upper: float, *, is_whole: bool = True) -> int:
        self._cost.append(0.0)
        self._upper.append(float(upper))
        if not is_whole:
            self._continuous.add(len(self._cost) - 1)
        return len(self._cost) - 1

    def _suits(self, need: Need, each: Bin) -> bool:
        offer = self._task.offers[each.offer]
        free = 1 - self._task.reserve
        amps = [each.own_amps or math.inf, *([] if self._stretch else [offer.amps])]
        return may_go(need, offer.outputs[each.outputs[0]]) and need.amps <= free * min(amps) + SLACK

    def _limits(self) -> None:
        """Every need once; no output and no supply over what the reserve leaves."""
        free = 1 - self._task.reserve
        for g, group in enumerate(self.groups):
            here = {column: 1.0 for (h, _), column in self.placed.items() if h == g}
            self.row({**here, self.left[g]: 1.0}, least=len(group), most=len(group))
        for (g, b), column in self.placed.items():
            self.row({column: 1.0, self.bought[self.bins[b].offer]: -float(len(self.groups[g]))}, most=0.0)
        for s, offer in enumerate(self._task.offers):
            amps = {column: self._need(g).amps for (g, b), column in self.placed.items() if self.bins[b].offer == s}
            room = (
                {self._extra[s]: -free, self.bought[s]: -free * offer.amps}
                if self._stretch
                else {self.bought[s]: -free * offer.amps}
            )
            self.row({**amps, **room}, most=SLACK)
        for b, each in enumerate(self.bins):
            if each.own_amps is not None:
                amps = {column: self._need(g).amps for (g, c), column in self.placed.items() if c == b}
                self.row(amps, most=free * each.own_amps + SLACK)

    def _commons(self) -> None:
        """What shares a common rail goes on one supply, or on supplies that were phased to one another."""
        marks = [offer.phase_group or f"alone {s}" for s, offer in enumerate(self._task.offers)]
        for common in sorted({need.common for need in self._task.needs if need.common}):
            chosen = {mark: self._column(1) for mark in dict.fromkeys(marks)}
            self.row(dict.fromkeys(chosen.values(), 1.0), most=1.0)
            for (g, b), column in self.placed.items():
                if self._need(g).common == common:
                    self.row({column: 1.0, chosen[marks[self.bins[b].offer]]: -float(len(self.groups[g]))}, most=0.0)

    def _values_of(self, places: Mapping[int, Place]) -> list[float]:
        """The columns of a solution that is known; those that follow from it may stay at zero, the solver mends them."""
        values = [0.0] * len(self._cost)
        holds = {(each.offer, output): b for b, each in enumerate(self.bins) for output in each.outputs}
        for g, group in enumerate(self.groups):
            for n in group:
                column = self.placed[g, holds[places[n]]] if n in places else self.left[g]
                values[column] += 1.0
        for s in {s for s, _ in places.values()}:
            values[self.bought[s]] = 1.0
        return values

    def _places(self, values: NDArray[np.float64]) -> dict[int, Place]:
        """Needs of each group, in order, to the bins that take so many of them; within a bin to the output that carries least."""
        places: dict[int, Place] = {}
        carried = dict.fromkeys(((each.offer, output) for each in self.bins for output in each.outputs), 0.0)
        for g, group in enumerate(self.groups):
            waiting = list(group)
            for b, each in enumerate(self.bins):
                count = round(values[self.placed[g, b]]) if (g, b) in self.placed else 0
                here, waiting = waiting[:count], waiting[count:]
                for n in here:
                    places[n] = self._output(self._task.needs[n], each, carried)
                    carried[places[n]] += self._task.needs[n].amps
        return places

    def _output(self, need: Need, each: Bin, carried: Mapping[Place, float]) -> Place:
        offer = self._task.offers[each.offer]
        at = [output for output in each.outputs if (offer.name, offer.outputs[output].name) == need.at]
        return each.offer, at[0] if at else min(each.outputs, key=lambda output: carried[each.offer, output])

    def _as_lp(self, highspy: ModuleType) -> object:
        model = highspy.HighsLp()
        count = len(self._cost)
        model.num_col_, model.num_row_ = count, len(self._rows)
        model.col_cost_ = np.array(self._cost)
        model.col_lower_, model.col_upper_ = np.zeros(count), np.array(self._upper)
        model.row_lower_ = np.array([least for _, least, _ in self._rows])
        model.row_upper_ = np.array([most for _, _, most in self._rows])
        kinds = (highspy.HighsVarType.kInteger, highspy.HighsVarType.kContinuous)
        model.integrality_ = [kinds[column in self._continuous] for column in range(count)]
        model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        model.a_matrix_.start_ = np.cumsum([0, *(len(terms) for terms, _, _ in self._rows)])
        model.a_matrix_.index_ = np.array([column for terms, _, _ in self._rows for column in terms], dtype=np.int32)
        model.a_matrix_.value_ = np.array([value for terms, _, _ in self._rows for value in terms.values()])
        return model


def _bins(s: int, offer: Offer, *, keep_limits: bool) -> Iterator[Bin]:
    """An output's own limit that is no lower than the whole supply's bounds nothing, unless that may grow."""
    alike: dict[tuple[object, ...], list[int]] = {}
    for o, output in enumerate(offer.outputs):
        if output.own_amps is not None and (keep_limits or output.own_amps < offer.amps):
            yield Bin(s, (o,), output.own_amps)
        else:
            alike.setdefault((output.volts, output.current, output.is_variable), []).append(o)
    for outputs in alike.values():
        yield Bin(s, tuple(outputs), None)


def _groups(needs: Sequence[Need], *, by_place: bool) -> list[tuple[int, ...]]:
    """Needs that are alike in all but their name, together."""
    alike: dict[Need, list[int]] = {}
    for n, need in enumerate(needs):
        alike.setdefault(replace(need, name="", at=need.at if by_place else None), []).append(n)
    return [tuple(group) for group in alike.values()]
