"""The proof by the mixed-integer model, one objective of the order of preference after another."""

from __future__ import annotations

import contextlib
from dataclasses import replace

import numpy as np

from strategist.errors import SolveError
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.model import Model
from strategist.optimise.problem import Answer, Problem, value
from strategist.optimise.pulp_late import pulp
from strategist.optimise.solver import Outcome, solve_mip
from strategist.optimise.zoom import search_in_time

__all__ = ["pays", "prove_by_model"]

_SECONDS_A_TERM, _SHARE = 4e-6, 0.3  # of building, measured; of the time left, at most
_PLACES = {"excess": 0, "loss": 1, "guarded": 2}  # in the key of an answer


def prove_by_model(
    problem: Problem, clock: Clock, seed: int = 0, start: Answer | None = None
) -> Answer:
    """The most preferred strategy by the mixed-integer model, objective after objective.

    Each objective of the order of preference is minimised with those before it held at their best.
    `start` is a strategy with a bound to begin with (None: the best without masks); the model has
    both as rows, and the answer is no worse and its bound no lower. When the clock runs out, the
    best strategy so far is given with the true bound.
    """
    best = start or search_in_time(replace(problem, slots=0), clock)
    proof = _Proof(best, (0.0, 0.0) if start is None else start.bound)
    with contextlib.suppress(OutOfTimeError):
        proof.run(Model(problem, clock), clock, seed)
    effort = {**dict(best.effort if start else ()), **proof.effort}
    return proof.best.bounded(proof.bound, proof.guarded, **effort)


def pays(problem: Problem, clock: Clock) -> bool:
    """Whether the time left is worth building the model: it takes a part of it."""
    classes, masks = problem.profile.classes, len(problem.candidates.masks)
    reads = int(np.isfinite(problem.profile.rssi).sum() + np.isfinite(problem.guarded.rssi).sum())
    terms = problem.slots * classes * (masks + 20) + 20 * reads
    return clock.left is None or terms * _SECONDS_A_TERM < _SHARE * clock.left


class _Proof:
    """The best strategy and the bounds that the model has come to."""

    def __init__(self, best: Answer, bound: tuple[float, float]) -> None:
        self.best, self.bound, self.guarded = best, bound, 0.0
        self.effort = {"nodes": 0}

    def run(self, model: Model, clock: Clock, seed: int) -> None:
        """Minimise one objective after the other. Raises OutOfTimeError."""
        for name, objective, constant in model.objectives():
            self._enclose(model, name, objective, constant)
            mip = model.aim(objective)
            self.effort |= {"variables": len(mip.variables()), "rows": len(mip.constraints)}
            solved = solve_mip(mip, clock=clock, seed=seed)
            self.effort["nodes"] += solved.nodes
            if solved.objective is not None:
                self.best = min(self.best, model.answer(), key=lambda found: found.key)
            if solved.bound is not None:
                self._raise(name, value(max(0.0, solved.bound + constant)))
            if solved.outcome is Outcome.INFEASIBLE:
                raise SolveError(f"HiGHS calls the model infeasible at the objective {name}")
            if solved.outcome is not Outcome.OPTIMAL:
                return
            assert solved.objective is not None
            model.at_most(objective, solved.objective)

    def _enclose(
        self, model: Model, name: str, objective: pulp.LpAffineExpression, constant: float
    ) -> None:
        """The objective is no higher than that of the best strategy, and not below its bound.

        The best strategy has the least of all objectives before, which are proven.
        """
        place = _PLACES.get(name)
        if place is None:
            return
        model.at_most(objective, self.best.key[place] - constant)
        if place == 0 or (place == 1 and self.bound[0] >= self.best.key[0]):
            model.at_least(objective, self.bound[place] - constant)

    def _raise(self, name: str, least: float) -> None:
        if name == "excess":
            self.bound = max(self.bound, (least, 0.0))
        elif name == "loss":
            self.bound = max(self.bound, (self.best.key[0], least))
        elif name == "guarded":
            self.guarded = least
