"""A mixed-integer programme as it is put together, and the solver call (HiGHS)."""

from dataclasses import dataclass, field
from types import ModuleType

import numpy as np

TIME_LIMIT_S = 1.5
"""For one call; the best found by then is taken and said not to be proven."""
Values = np.ndarray[tuple[int], np.dtype[np.float64]]


class Undecided(Exception):  # noqa: N818 - no error: the answer is not known yet
    """Time ran out before a solution was found or shown not to exist."""


@dataclass(slots=True)
class LinearProgram:
    """Columns (variables) and rows (constraints) as they are added."""

    cost: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    whole: list[int] = field(default_factory=list)
    rows: list[dict[int, float]] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def column(self, cost: float, *, upper: float = 1.0, whole: bool = True) -> int:
        """A variable from 0 to ``upper``; its number."""
        self.cost.append(cost)
        self.upper.append(upper)
        self.whole.append(int(whole))
        return len(self.cost) - 1

    def row(self, terms: dict[int, float], low: float, high: float) -> None:
        """A constraint: low <= sum of terms <= high."""
        self.rows.append(terms)
        self.low.append(low)
        self.high.append(high)

    def solved(self, within_s: float = TIME_LIMIT_S) -> tuple[Values, bool] | None:
        """The values of the columns, and whether they are proven best.

        Args:
            within_s: Time for the solver.

        Returns:
            None where there is no solution.

        Raises:
            Undecided: Time ran out before one was found.
        """
        # HiGHS takes a moment to import: only who shares pays for it.
        import highspy  # noqa: PLC0415

        solver = highspy.Highs()
        solver.setOptionValue("output_flag", False)  # noqa: FBT003 - as the library has it
        solver.setOptionValue("threads", 1)
        solver.setOptionValue("mip_rel_gap", 0.0)
        solver.setOptionValue("time_limit", max(0.05, within_s))
        solver.passModel(self._model(highspy))
        solver.run()
        status = solver.getModelStatus()
        if solver.getInfo().primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible:
            return np.asarray(solver.getSolution().col_value), status == highspy.HighsModelStatus.kOptimal
        if status in (highspy.HighsModelStatus.kInfeasible, highspy.HighsModelStatus.kUnboundedOrInfeasible):
            return None
        raise Undecided

    def _model(self, highspy: ModuleType) -> object:
        model = highspy.HighsLp()
        model.num_col_, model.num_row_ = len(self.cost), len(self.rows)
        model.col_cost_ = np.array(self.cost)
        model.col_lower_, model.col_upper_ = np.zeros(len(self.cost)), np.array(self.upper)
        model.row_lower_, model.row_upper_ = np.array(self.low), np.array(self.high)
        kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
        model.integrality_ = [kinds[whole] for whole in self.whole]
        starts = np.cumsum([0, *(len(terms) for terms in self.rows)])
        model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        model.a_matrix_.start_ = starts
        model.a_matrix_.index_ = np.array([column for terms in self.rows for column in terms], dtype=np.int32)
        model.a_matrix_.value_ = np.array([value for terms in self.rows for value in terms.values()])
        return model
