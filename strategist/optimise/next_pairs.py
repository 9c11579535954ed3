"""Which pairs of pass and level to measure next: a mixed-integer model over what is in doubt.

`doubt[r, p]` ≥ 0 is how far the losses of the strategy in hand and of contender r may differ in
pass p, beyond what is known; `told[r, p, l]` is the share of that which a look at level l takes
away. x[p, l] says that pass p is presented at level l, y[p] that it is presented at all, and
z[r, p] how much of the doubt is settled:

    minimise    Σ_p a·y[p] + Σ_pl b·x[p, l]
    subject to  Σ_p doubt[r, p]·z[r, p] ≥ share · Σ_p doubt[r, p]     for each contender r
                z[r, p] ≤ Σ_l told[r, p, l]·x[p, l]
                x[p, l] ≤ y[p]

with a minutes to present a pass and b minutes a level; x and y are 0 or 1, z from 0 to 1. So each
batch takes from each contender at least so large a share of the doubt, at the least cost: a
weighted set cover with a covering row for each contender. Where all pairs together settle less than
the share, they are to settle nearly as much as they can.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strategist.errors import SolveError
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.pulp_late import pulp
from strategist.optimise.solver import solve_mip
from strategist.survey.records import Bools, Floats

__all__ = ["Cost", "pairs_to_measure", "settled_by"]

NEARLY = 0.9  # of what all pairs together settle
TELLS = 0.02  # of the doubt about a pass; a pair that tells less of any contender is left out


@dataclass(frozen=True)
class Cost:
    """What measuring takes, in minutes: to present a pass again, and to listen at a level."""

    a_pass: float
    a_level: float


def settled_by(doubt: Floats, told: Floats, pairs: Bools) -> Floats:
    """How much of the doubt pairs (passes, levels) take away: shape (contenders, passes)."""
    found: Floats = doubt * np.minimum(1.0, (told * pairs).sum(axis=2))
    return found


def pairs_to_measure(doubt: Floats, told: Floats, cost: Cost, share: float, clock: Clock) -> Bools:
    """A batch of pairs (passes, levels) of least cost that settles `share` of the doubt about each
    contender; without time for a proof, the best found, or one that is greedy.

    `doubt` has shape (contenders, passes), `told` (contenders, passes, levels). Raises SolveError
    where HiGHS does.
    """
    told = np.where((told >= TELLS) & (doubt > 0)[:, :, None], told, 0.0)
    most = settled_by(doubt, told, np.ones(told.shape[1:], bool)).sum(axis=1)
    goal = np.minimum(share * doubt.sum(axis=1), NEARLY * most)
    if not goal.any():
        return np.zeros(told.shape[1:], bool)
    model = _Model(doubt, told, cost, goal)
    try:
        solved = solve_mip(model.problem, clock=clock)
    except OutOfTimeError:
        return _greedy(doubt, told, cost, goal)
    if solved.objective is None:
        if clock.left is None:
            raise SolveError("HiGHS found no batch to measure")
        return _greedy(doubt, told, cost, goal)
    found = np.zeros(told.shape[1:], bool)
    for pair, x in model.at_level.items():
        found[pair] = pulp.value(x) > 0.5
    return found


class _Model:
    """The model of the module's docstring."""

    def __init__(self, doubt: Floats, told: Floats, cost: Cost, goal: Floats) -> None:
        self.problem = pulp.LpProblem("next_pairs", pulp.LpMinimize)
        pairs = np.argwhere((told > 0).any(axis=0)).tolist()
        self.at_level = {
            (p, at): pulp.LpVariable(f"x{p:05d}_{at:03d}", cat="Binary") for p, at in pairs
        }
        presented = {
            p: pulp.LpVariable(f"y{p:05d}", cat="Binary") for p in sorted({p for p, _ in pairs})
        }
        self.problem += cost.a_pass * pulp.lpSum(presented.values()) + (
            cost.a_level * pulp.lpSum(self.at_level.values())
        )
        for (p, _), x in self.at_level.items():
            self.problem += x <= presented[p]
        for contender, least in enumerate(goal.tolist()):
            self._cover(contender, doubt[contender], told[contender], least)

    def _cover(self, contender: int, doubt: Floats, told: Floats, least: float) -> None:
        """Σ_p doubt[p]·z[p] ≥ least, with z[p] ≤ Σ_l told[p, l]·x[p, l]."""
        settled = []
        for p in np.flatnonzero((told > 0).any(axis=1)).tolist():
            z = pulp.LpVariable(f"z{contender:03d}_{p:05d}", 0, 1)
            settled.append((z, float(doubt[p])))
            levels = np.flatnonzero(told[p]).tolist()
            by = [(self.at_level[p, at], float(told[p, at])) for at in levels]
            self.problem += pulp.LpAffineExpression([(z, -1.0), *by]) >= 0
        if settled:
            self.problem += pulp.LpAffineExpression(settled) >= least


def _greedy(doubt: Floats, told: Floats, cost: Cost, goal: Floats) -> Bools:
    """Contender by contender, the passes that settle most a minute, with all levels that tell of
    it, until each has what it is to have."""
    found = np.zeros(told.shape[1:], bool)
    for contender, least in enumerate(goal.tolist()):
        tells = told[contender] > 0
        alone = settled_by(doubt, told, tells)[contender]
        minutes = cost.a_pass + cost.a_level * tells.sum(axis=1)
        for p in np.argsort(-alone / np.maximum(minutes, 1e-9), kind="stable").tolist():
            if settled_by(doubt, told, found)[contender].sum() >= least:
                break
            found[p] |= tells[p]
    return found
