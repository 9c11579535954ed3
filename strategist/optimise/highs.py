"""A run of HiGHS on a PuLP problem, with HiGHS's own words for the outcome.

PuLP's status calls a run that the clock stopped "Optimal" and leaves 0.0 in variables that were
never solved, so nothing is read from it: outcome, bound and incumbent come from the highspy object.
"""

from __future__ import annotations

import contextlib
import functools
import os
from array import array
from collections.abc import Iterator

import highspy
import numpy as np
import pulp

from strategist.errors import SolveError
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.solver import Outcome, Solved

__all__ = ["run", "self_test"]

_ROWS = 1_000  # handed over between two looks at the clock
_TERM_S = 1e-6  # in presolve and afterwards, which do not look at the clock; measured
_PROVE_ONLY = {"mip_heuristic_effort": 0.0, "mip_allow_restart": False}
_SAME = 1e-5  # times the size of an objective above 1


class _Timed(pulp.HiGHS):  # type: ignore[misc]
    """PuLP's door to HiGHS, with the rows handed over at once, and an eye on the clock."""

    clock: Clock

    def buildSolverModel(self, lp: pulp.LpProblem) -> None:  # noqa: N802 - PuLP's name
        variables = lp.variables()
        for number, variable in enumerate(variables):
            variable.index = number
        highs, count = lp.solverModel, len(variables)
        lower = np.array([-np.inf if v.lowBound is None else v.lowBound for v in variables])
        upper = np.array([np.inf if v.upBound is None else v.upBound for v in variables])
        highs.addVars(count, lower, upper)
        cost = np.array([lp.objective.get(v, 0.0) for v in variables])
        highs.changeColsCost(count, np.arange(count, dtype=np.int32), cost)
        whole = [n for n, v in enumerate(variables) if v.cat == pulp.const.LpInteger]
        kind = np.full(len(whole), int(highspy.HighsVarType.kInteger), np.uint8)
        highs.changeColsIntegrality(len(whole), np.array(whole, np.int32), kind)
        self._add_rows(lp)

    def _add_rows(self, lp: pulp.LpProblem) -> None:
        bounds: list[tuple[float, float]] = []
        start, index, factor = [0], array("i"), array("d")
        for number, row in enumerate(lp.constraints.values()):
            if number % _ROWS == 0:
                self.clock.check()
            row.index = number
            for variable, times in row.items():
                index.append(variable.index)
                factor.append(times)
            start.append(len(index))
            low, high = row.getLb(), row.getUb()
            bounds.append((-np.inf if low is None else low, np.inf if high is None else high))
        lower, upper = np.array(bounds).reshape(-1, 2).T.copy()
        lp.solverModel.addRows(
            len(bounds),
            lower,
            upper,
            len(index),
            np.array(start[:-1], np.int32),
            np.array(index, np.int32),
            np.array(factor, float),
        )

    def callSolver(self, lp: pulp.LpProblem) -> None:  # noqa: N802 - PuLP's name
        if (left := self.clock.left) is not None:
            left -= _TERM_S * lp.solverModel.getNumNz()
            if left <= 0:
                raise OutOfTimeError
            lp.solverModel.setOptionValue("time_limit", left)
        super().callSolver(lp)


def run(problem: pulp.LpProblem, clock: Clock, seed: int, *, known: bool = False) -> Solved:
    """What `solver.solve_mip` does, once HiGHS is known to be sound."""
    more = _PROVE_ONLY if known else {}
    options = {"random_seed": seed, "mip_rel_gap": 0.0, "mip_abs_gap": 1e-6, **more}
    solver = _Timed(msg=False, threads=1, **options)
    solver.clock = clock
    problem.solve(solver)
    highs = problem.solverModel
    status, info = highs.getModelStatus(), highs.getInfo()
    found = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    codes = highspy.HighsModelStatus
    if status == codes.kOptimal:
        outcome = Outcome.OPTIMAL
    elif status in (codes.kInfeasible, codes.kUnboundedOrInfeasible):
        return Solved(Outcome.INFEASIBLE, None, None, int(info.mip_node_count))
    elif status == codes.kTimeLimit:
        outcome = Outcome.STOPPED if found else Outcome.STOPPED_EMPTY
    else:
        raise SolveError(f"HiGHS ended with {highs.modelStatusToString(status)}")
    if found and abs(pulp.value(problem.objective) - info.objective_function_value) > _SAME * max(
        1.0, abs(info.objective_function_value)
    ):
        raise SolveError("HiGHS reports another objective than that of its values")
    return Solved(
        outcome,
        float(info.objective_function_value) if found else None,
        float(info.mip_dual_bound),
        int(info.mip_node_count),
    )


@functools.cache
def self_test() -> None:
    """A tiny problem with a known answer: some HiGHS releases returned wrong optima.

    The first run happens with standard output closed off, since HiGHS writes a banner there.
    """
    problem = pulp.LpProblem("self_test", pulp.LpMinimize)
    x = [pulp.LpVariable(f"x{i}", cat="Binary") for i in range(3)]
    problem += -5 * x[0] - 4 * x[1] - 3 * x[2]
    problem += 2 * x[0] + 3 * x[1] + x[2] <= 5
    problem += 4 * x[0] + x[1] + 2 * x[2] <= 5
    with _silenced():
        solved = run(problem, Clock(), 0)
    if solved.outcome is not Outcome.OPTIMAL or abs((solved.objective or 0.0) + 9.0) > 1e-6:
        raise SolveError("HiGHS fails its self-test: install highspy 1.15.1 or newer")


@contextlib.contextmanager
def _silenced() -> Iterator[None]:
    """Send file descriptor 1 to nowhere for a moment."""
    kept = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
