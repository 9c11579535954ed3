"""The solver door: one PuLP problem to HiGHS and back, with HiGHS's own words for the outcome.

PuLP's status calls a run that the clock stopped "Optimal" and leaves 0.0 in variables that were
never solved, so nothing is read from it: outcome, bound and incumbent come from the highspy object.
"""

from __future__ import annotations

import contextlib
import functools
import os
from array import array
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np

from strategist.errors import SolveError
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.late import highspy, pulp

__all__ = ["Outcome", "Solved", "solve_mip"]

_ROWS = 1_000  # handed over between two looks at the clock
_TERM_S = 1e-6  # in presolve and afterwards, which do not look at the clock; measured
_PROVE_ONLY = {"mip_heuristic_effort": 0.0, "mip_allow_restart": False}
_SAME = 1e-5  # times the size of an objective above 1


class Outcome(Enum):
    """How a solve ended: with proof, on the clock (with or without a solution), or with none."""

    OPTIMAL = "optimal"
    STOPPED = "stopped"
    STOPPED_EMPTY = "stopped empty"
    INFEASIBLE = "infeasible"


@dataclass(frozen=True)
class Solved:
    """Objective and bound are None where there is no solution. Variable values stay in the PuLP
    problem and may be read only when `objective` is not None."""

    outcome: Outcome
    objective: float | None
    bound: float | None
    nodes: int


def _door(clock: Clock, **options: Any) -> pulp.HiGHS:
    """PuLP's door to HiGHS, with the rows handed over at once, and an eye on the clock."""
    door = pulp.HiGHS(msg=False, threads=1, **options)
    call = door.callSolver

    def timed(lp: pulp.LpProblem) -> None:
        if (left := clock.left) is not None:
            left -= _TERM_S * lp.solverModel.getNumNz()
            if left <= 0:
                raise OutOfTimeError
            lp.solverModel.setOptionValue("time_limit", left)
        call(lp)

    door.buildSolverModel, door.callSolver = lambda lp: _build(lp, clock), timed
    return door


def _build(lp: pulp.LpProblem, clock: Clock) -> None:
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
    _add_rows(lp, clock)


def _add_rows(lp: pulp.LpProblem, clock: Clock) -> None:
    bounds: list[tuple[float, float]] = []
    start, index, factor = [0], array("i"), array("d")
    for number, row in enumerate(lp.constraints.values()):
        if number % _ROWS == 0:
            clock.check()
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


def solve_mip(
    problem: pulp.LpProblem,
    *,
    clock: Clock,
    seed: int = 0,
    known: bool = False,
) -> Solved:
    """Minimise with HiGHS in this process, on one thread, from no solution of ours.

    `known`: a good solution is known already, so that HiGHS need not look for one first.

    HiGHS 1.16.0 was seen to report another objective than that of the values it gave where a first
    solution was handed over. Raises SolveError where objective and values differ, and
    where HiGHS neither solved nor was stopped by the clock; OutOfTimeError where the clock ran out
    before HiGHS had its rows, or leaves too little to presolve so many.
    """
    _self_test()
    return _run(problem, clock, seed, _PROVE_ONLY if known else {})


def _run(
    problem: pulp.LpProblem, clock: Clock, seed: int, more: Mapping[str, Any] | None = None
) -> Solved:
    options = {"random_seed": seed, "mip_rel_gap": 0.0, "mip_abs_gap": 1e-6, **(more or {})}
    problem.solve(_door(clock, **options))
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
def _self_test() -> None:
    """A tiny problem with a known answer: some HiGHS releases returned wrong optima.

    The first run happens with standard output closed off, since HiGHS writes a banner there.
    """
    problem = pulp.LpProblem("self_test", pulp.LpMinimize)
    x = [pulp.LpVariable(f"x{i}", cat="Binary") for i in range(3)]
    problem += -5 * x[0] - 4 * x[1] - 3 * x[2]
    problem += 2 * x[0] + 3 * x[1] + x[2] <= 5
    problem += 4 * x[0] + x[1] + 2 * x[2] <= 5
    with _silenced():
        solved = _run(problem, Clock(), 0)
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
