"""The reference model with OR-tools CP-SAT, on one thread; needs the extra `bench`."""

from __future__ import annotations

import time

import pulp
from ortools.sat.python import cp_model

from strategist.survey.records import ReadPoint
from tests.bench.measure import Found
from tests.bench.reference import Reference
from tests.bench.solvers import left

__all__ = ["by_cp_sat"]


def by_cp_sat(read_point: ReadPoint, seconds: float | None) -> Found:
    """The same variables, rows and objective as the other solvers get, all of them 0/1."""
    started = time.monotonic()
    reference = Reference(read_point)
    reference.mip.setObjective(reference.loss)
    model = _translated(reference.mip)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    limit = left(seconds, started)
    if limit is not None:
        solver.parameters.max_time_in_seconds = limit
    status = solver.solve(model)
    found = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    return Found(
        solver.objective_value + reference.constant if found else None,
        solver.best_objective_bound + reference.constant,
        status == cp_model.OPTIMAL,
    )


def _translated(mip: pulp.LpProblem) -> cp_model.CpModel:
    """The same model; the coefficients of its rows are whole numbers."""
    model = cp_model.CpModel()
    twin = {v.name: model.new_bool_var(v.name) for v in mip.variables()}
    for row in mip.constraints.values():
        whole = [round(coefficient) for coefficient in row.values()]
        total = cp_model.LinearExpr.weighted_sum([twin[v.name] for v in row], whole)
        side = round(-row.constant)
        if row.sense == pulp.LpConstraintLE:
            model.add(total <= side)
        elif row.sense == pulp.LpConstraintGE:
            model.add(total >= side)
        else:
            model.add(total == side)
    weights = list(mip.objective.values())
    model.minimize(cp_model.LinearExpr.weighted_sum([twin[v.name] for v in mip.objective], weights))
    return model
