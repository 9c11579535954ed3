"""Which pairs of pass and level to measure next: a mixed-integer model over what is in doubt.

`doubt[r, p]` ≥ 0 is how far the losses of the strategy in hand and of contender r may differ in
pass p, beyond what is known; `needs[r][p]` are the levels whose measurement settles that. x[p, l]
says that pass p is presented at level l, y[p] that it is presented at all, and z[r, p] how far it
settles contender r:

    minimise    Σ_p a·y[p] + Σ_pl b·x[p, l]
    subject to  Σ_p doubt[r, p]·z[r, p] ≥ share · Σ_p doubt[r, p]     for each contender r
                z[r, p] ≤ x[p, l]                                     for each l in needs[r][p]
                x[p, l] ≤ y[p]

with a minutes to present a pass and b minutes a level; x and y are 0 or 1, z from 0 to 1. So each
batch takes from each contender at least so large a share of the doubt, at the least cost: a
weighted set cover with a covering row for each contender.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pulp

from strategist.errors import SolveError
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.solver import solve_mip
from strategist.survey.records import Floats

__all__ = ["Cost", "pairs_to_measure"]

Needs = Sequence[Mapping[int, tuple[int, ...]]]  # of each contender: pass → levels


@dataclass(frozen=True)
class Cost:
    """What measuring takes, in minutes: to present a pass again, and to listen at a level."""

    a_pass: float
    a_level: float


def pairs_to_measure(
    doubt: Floats, needs: Needs, cost: Cost, share: float, clock: Clock
) -> dict[int, tuple[int, ...]]:
    """Pass → levels (indices, ascending) of a batch of least cost that settles `share` of the doubt
    about each contender; without time for a proof, the best found, or one that is greedy.

    `doubt` has shape (contenders, passes), and is 0 where nothing is needed. Raises SolveError
    where HiGHS does.
    """
    if not doubt.any():
        return {}
    model = _Model(doubt, needs, cost, share)
    try:
        solved = solve_mip(model.problem, clock=clock)
    except OutOfTimeError:
        return _greedy(doubt, needs, cost, share)
    if solved.objective is None:
        if clock.left is None:
            raise SolveError("HiGHS found no batch to measure")
        return _greedy(doubt, needs, cost, share)
    return _by_pass({pair for pair, x in model.at_level.items() if pulp.value(x) > 0.5})


class _Model:
    """The model of the module's docstring."""

    def __init__(self, doubt: Floats, needs: Needs, cost: Cost, share: float) -> None:
        self.problem = pulp.LpProblem("next_pairs", pulp.LpMinimize)
        pairs = sorted({(p, at) for of in needs for p, levels in of.items() for at in levels})
        self.at_level = {
            (p, at): pulp.LpVariable(f"x{p:05d}_{at:03d}", cat="Binary") for p, at in pairs
        }
        self.presented = {
            p: pulp.LpVariable(f"y{p:05d}", cat="Binary") for p in sorted({p for p, _ in pairs})
        }
        self.problem += cost.a_pass * pulp.lpSum(self.presented.values()) + (
            cost.a_level * pulp.lpSum(self.at_level.values())
        )
        for (p, _), x in self.at_level.items():
            self.problem += x <= self.presented[p]
        for contender, of in enumerate(needs):
            self._cover(contender, of, doubt[contender], share)

    def _cover(
        self, contender: int, needs: Mapping[int, tuple[int, ...]], doubt: Floats, share: float
    ) -> None:
        """Σ_p doubt[p]·z[p] ≥ share · Σ_p doubt[p], with z[p] ≤ x[p, l] for what it needs."""
        settled = []
        for p, levels in needs.items():
            z = pulp.LpVariable(f"z{contender:03d}_{p:05d}", 0, 1)
            settled.append((z, float(doubt[p])))
            for level in levels:
                self.problem += z <= self.at_level[p, level]
        if settled:
            total = sum(weight for _, weight in settled)
            self.problem += pulp.LpAffineExpression(settled) >= share * total


def _greedy(doubt: Floats, needs: Needs, cost: Cost, share: float) -> dict[int, tuple[int, ...]]:
    """Contender by contender, the passes that settle most a minute, until each has its share."""
    taken: set[tuple[int, int]] = set()
    for contender, of in enumerate(needs):
        total = doubt[contender, list(of)].sum() if of else 0.0

        def minutes(p: int, of: Mapping[int, tuple[int, ...]] = of) -> float:
            return cost.a_pass + cost.a_level * len(of[p])

        settled = 0.0
        for p in sorted(of, key=lambda p: -doubt[contender, p] / minutes(p)):
            if settled >= share * total:
                break
            settled += doubt[contender, p]
            taken |= {(p, level) for level in of[p]}
    return _by_pass(taken)


def _by_pass(pairs: set[tuple[int, int]]) -> dict[int, tuple[int, ...]]:
    found: dict[int, tuple[int, ...]] = {}
    for p, level in sorted(pairs):
        found[p] = (*found.get(p, ()), level)
    return found
