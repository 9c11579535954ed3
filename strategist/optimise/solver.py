"""The solver door: one PuLP problem to HiGHS and back. What runs it (`highs`), and PuLP itself, is
loaded when there is a problem: a search needs none."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

from strategist.optimise.clock import Clock

if TYPE_CHECKING:
    import pulp

__all__ = ["Outcome", "Solved", "solve_mip"]


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
    from strategist.optimise.highs import run, self_test  # noqa: PLC0415 (slow to load)

    self_test()
    return run(problem, clock, seed, known=known)
