"""The door to HiGHS and the clock: what cannot be presolved in time is not begun."""

from __future__ import annotations

import pulp
import pytest

from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.solver import Outcome, solve_mip

_SIDE = 100


def _cover() -> pulp.LpProblem:
    """Every row holds every variable: one of them is enough."""
    problem = pulp.LpProblem("cover", pulp.LpMinimize)
    chosen = [pulp.LpVariable(f"x{n:03d}", cat="Binary") for n in range(_SIDE)]
    problem += pulp.lpSum(chosen)
    for _ in range(_SIDE):
        problem += pulp.lpSum(chosen) >= 1
    return problem


def _standing(seconds: float) -> Clock:
    """A clock that stands still, with so many seconds left."""
    return Clock(seconds, now=lambda: 0.0)


def test_too_many_terms_for_the_time_left_are_not_begun() -> None:
    with pytest.raises(OutOfTimeError):
        solve_mip(_cover(), clock=_standing(1e-7 * _SIDE * _SIDE))


def test_with_time_left_they_are_solved() -> None:
    solved = solve_mip(_cover(), clock=_standing(60.0))
    assert (solved.outcome, solved.objective) == (Outcome.OPTIMAL, 1.0)
