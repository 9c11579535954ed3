"""The reference model with HiGHS and with CBC, and our own model: one thread, true bounds.

PuLP's status calls a stopped run "Optimal", so HiGHS is asked itself, and CBC's log is read.
"""

from __future__ import annotations

import math
import re
import tempfile
import time
from pathlib import Path

import highspy
import pulp

from strategist.optimise.by_model import prove_by_model
from strategist.optimise.clock import Clock
from strategist.optimise.problem import pose
from strategist.survey.records import ReadPoint
from tests.bench.measure import Found
from tests.bench.ours import found_of
from tests.bench.reference import Reference

__all__ = ["by_cbc", "by_highs", "by_own_model", "least_by_highs"]

_HELD = 1e-4  # by how much the excess may be above its least once the loss is minimised


def by_own_model(read_point: ReadPoint, seconds: float | None) -> Found:
    """Our mixed-integer model with HiGHS: the whole order of preference."""
    clock = Clock(seconds)
    return found_of(prove_by_model(pose(read_point.survey, read_point.policy), clock, 0), clock)


def by_highs(read_point: ReadPoint, seconds: float | None) -> Found:
    """The reference with HiGHS."""
    started = time.monotonic()
    reference = Reference(read_point)
    reference.mip.setObjective(reference.loss)
    return _minimised(reference.mip, reference.constant, left(seconds, started))


def left(seconds: float | None, started: float) -> float | None:
    """What is left of the limit after building the model."""
    return None if seconds is None else max(1.0, seconds - (time.monotonic() - started))


def _minimised(mip: pulp.LpProblem, constant: float, seconds: float | None) -> Found:
    """The objective minimised with HiGHS; `constant` is added to what it says."""
    exact = {"mip_rel_gap": 0.0, "mip_abs_gap": 1e-6}
    mip.solve(pulp.HiGHS(msg=False, threads=1, timeLimit=seconds, **exact))
    highs = mip.solverModel
    info, status = highs.getInfo(), highs.getModelStatus()
    found = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    if not found and status != highspy.HighsModelStatus.kTimeLimit:
        raise RuntimeError(f"HiGHS ended with {highs.modelStatusToString(status)}")
    return Found(
        info.objective_function_value + constant if found else None,
        info.mip_dual_bound + constant,
        status == highspy.HighsModelStatus.kOptimal,
    )


def least_by_highs(reference: Reference) -> tuple[float, float]:
    """The least excess over the hard limits and the least loss with it, proven."""
    mip, excess = reference.mip, 0.0
    if reference.excess is not None:
        mip.setObjective(reference.excess)
        solved = _minimised(mip, 0.0, None)
        assert solved.proven
        assert solved.loss is not None
        excess = solved.loss
        mip += reference.excess <= excess + _HELD
    mip.setObjective(reference.loss)
    solved = _minimised(mip, reference.constant, None)
    assert solved.proven
    assert solved.loss is not None
    return excess, solved.loss


def by_cbc(read_point: ReadPoint, seconds: float | None) -> Found:
    """The reference with CBC; loss and bound come from the end of its log.

    CBC may overrun its limit by far: whoever calls must be ready to end the process.
    """
    started = time.monotonic()
    reference = Reference(read_point)
    mip, constant = reference.mip, reference.constant
    mip.setObjective(reference.loss)
    limit = left(seconds, started)
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder, "cbc.log")
        mip.solve(
            pulp.PULP_CBC_CMD(
                msg=False, threads=1, timeLimit=limit, gapRel=0.0, gapAbs=1e-6, logPath=str(log)
            )
        )
        text = log.read_text(encoding="utf-8", errors="replace")
    proven = "Result - Optimal solution found" in text
    value = _logged(text, r"^Objective value: +(\S+)")
    bound = value if proven else _logged(text, r"^Lower bound: +(\S+)")
    return Found(
        None if value is None else value + constant,
        -math.inf if bound is None else bound + constant,
        proven,
    )


def _logged(text: str, pattern: str) -> float | None:
    found = re.findall(pattern, text, re.MULTILINE)
    return float(found[-1]) if found else None
