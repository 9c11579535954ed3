"""Own power and cutoff for each antenna as one mixed-integer model, at one level each.

Variables, with r a row of presentations that are alike (n_r of them), a an antenna, l a level and
v[a, l, 1] < v[a, l, 2] < … the cutoffs that matter there (`ByAntenna.columns`):

    w[a, l, i]  antenna a radiates l and its reads of at least v[a, l, i] count; the last of them,
                w[a, l, last], says that a radiates l at all
    s[j]        selection j of the mask chains is chosen
    u[r]        r is reported (a share; w and s whole numbers make it one)

With e[r, a] = Σ_l w[a, l, i(r, a, l)], where v[a, l, i(r, a, l)] is the highest cutoff that r's
read reaches, and t[k] = Σ_j (s[j] : j lets class k through):

    one level        Σ_l w[a, l, last] ≤ 1
    turns            Σ_a Σ_l w[a, l, last] ≤ how many antennas may be on
    cutoff           w[a, l, i] ≤ w[a, l, i + 1]
    masks            Σ_j s[j] = 1
    wanted r         u[r] ≤ Σ_a e[r, a],  u[r] ≤ t[k(r)]
    stray r          u[r] ≥ e[r, a] + t[k(r)] − 1 for each a
    minimise         Σ_stray stray n_r u[r] + Σ_wanted missed n_r (1 − u[r])

Levels that an antenna may not be set to are no columns. Where links fade much the relaxation is far
from integral (351 for 395 at 1,800 presentations), so the search by its prices (`own_search`) goes
first, and the model takes what the search leaves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from strategist.errors import SolveError
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.own_columns import Cutoffs, cutoffs_of, merged
from strategist.optimise.own_powers import OFF, ByAntenna, Own, descend
from strategist.optimise.own_search import Searched, search_own_powers
from strategist.optimise.problem import value
from strategist.optimise.pulp_late import pulp
from strategist.optimise.solver import Outcome, Solved, solve_mip
from strategist.survey.records import Ints

__all__ = ["OwnModel", "Proven", "prove_own_powers"]

Method = Literal["auto", "search", "model"]

_SEARCH_SHARE = 0.7  # of the time left
_HELD = 1e-4  # by how much an objective may exceed its best once held: well above tolerances


@dataclass(frozen=True)
class Proven:
    """A choice, its key (excess, loss, guarded loss), and what no choice is below (excess, loss).

    `effort` says in a few numbers what the proof took.
    """

    own: Own
    key: tuple[float, float, float]
    bound: tuple[float, float]
    effort: tuple[tuple[str, int], ...] = ()

    @property
    def proven(self) -> bool:
        return self.bound >= self.key[:2]


def prove_own_powers(
    problem: ByAntenna,
    clock: Clock,
    seed: int = 0,
    start: Own | None = None,
    method: Method = "auto",
) -> Proven:
    """The least excess and loss of any powers, cutoffs and selection.

    Descent finds the choice to begin with, and among those as good the one that stands the guards
    best as far as it sees. The search by prices comes first where the limits can be kept, then the
    model on what the search leaves open (`method` "search", "model": one of them alone). When the
    clock runs out, the best so far with the true bound.
    """
    best = descend(problem, clock, start)
    kept = _hopeful(problem, best)
    problem = replace(problem, through=problem.through[kept])
    best = best._replace(selection=int(kept.searchsorted(best.selection)))
    key = problem.key(best)
    found = Proven(best, key, (0.0, 0.0))
    if method != "model" and key[0] == 0:
        found, left = _searched(problem, best, clock)
        if not found.proven and method == "auto":
            found = _modelled(problem, found, clock, seed, left)
    elif method != "search":
        found = _modelled(problem, found, clock, seed)
    return replace(found, own=found.own._replace(selection=int(kept[found.own.selection])))


def _searched(problem: ByAntenna, best: Own, clock: Clock) -> tuple[Proven, Searched]:
    part = clock if clock.left is None else Clock(_SEARCH_SHARE * clock.left)
    left = search_own_powers(problem, best, part)
    key = problem.key(left.own)
    bound = (0.0, left.bound)
    effort = {"parts": left.parts, "bounds": left.bounds}
    return Proven(left.own, key, min(key[:2], bound), tuple(effort.items())), left


def _modelled(
    problem: ByAntenna, found: Proven, clock: Clock, seed: int, left: Searched | None = None
) -> Proven:
    """Further by the model, on what the search left (None: on all)."""
    best, bound, effort = found.own, found.bound, {**dict(found.effort), "nodes": 0}
    some, columns = np.arange(len(problem.through)), None
    if left is not None:
        some, columns = np.flatnonzero(left.selections), left.cutoffs()
    part = replace(problem, through=problem.through[some])
    try:
        model = OwnModel(part, clock, columns)
        for name, objective, constant in model.objectives():
            mip = model.aim(objective)
            effort |= {"variables": len(mip.variables()), "rows": len(mip.constraints)}
            solved = solve_mip(mip, clock=clock, seed=seed, known=True)
            effort["nodes"] += solved.nodes
            if solved.outcome is Outcome.INFEASIBLE:
                raise SolveError(f"HiGHS calls the model infeasible at the objective {name}")
            if solved.objective is not None:
                own = model.own()
                own = own._replace(selection=int(some[own.selection]))
                best = min(best, descend(problem, clock, own), key=problem.key)
            least = value(max(0.0, (solved.bound or 0.0) + constant))
            of_part = (least, 0.0) if name == "excess" else (problem.key(best)[0], least)
            bound = max(bound, min(problem.key(best)[:2], of_part))
            if solved.outcome is not Outcome.OPTIMAL:
                break
            model.hold(objective, solved)
    except OutOfTimeError:
        pass
    key = problem.key(best)
    return Proven(best, key, min(key[:2], bound), tuple(effort.items()))


def _hopeful(problem: ByAntenna, best: Own) -> Ints:
    """The selections without those that keep back wanted tags for no less than the best loss."""
    excess, loss, _ = problem.key(best)
    missed = np.zeros(problem.through.shape[1])
    np.add.at(missed, problem.row_class, problem.loss.missed * problem.weight * problem.wanted)
    keep = (~problem.through @ missed < loss) | (excess > 0)
    keep[best.selection] = True
    return np.flatnonzero(keep)


class OwnModel:
    """The PuLP model, and the way back from its variables to a choice.

    `columns` are the cutoffs to choose from by antenna and level (None: all worth a thought).
    """

    def __init__(self, problem: ByAntenna, clock: Clock, columns: Cutoffs | None = None) -> None:
        self.problem = problem
        self.clock = clock
        self.mip = pulp.LpProblem("own_powers", pulp.LpMinimize)
        self.columns = cutoffs_of(problem) if columns is None else columns
        self.w = {
            (*place, i): pulp.LpVariable(_name("w", *place, i), cat="Binary")
            for place, cutoffs in self.columns.items()
            for i in range(len(cutoffs))
        }
        self.s = [pulp.LpVariable(_name("s", j), cat="Binary") for j in range(len(problem.through))]
        self._one_level()
        self._cutoff()
        self._one_selection()
        self.reached, self.weight, self.wanted, self.row_class = merged(problem, self.columns)
        self.u = [
            pulp.LpVariable(_name("u", r), 0, 1 if wanted else None)
            for r, wanted in enumerate(self.wanted.tolist())
        ]
        self._let = self._through()
        self._wanted()
        self._stray()

    def _one_level(self) -> None:
        """Σ_l w[a, l, last] ≤ 1, and over all antennas no more than may be on."""
        antennas, every = range(len(self.problem.allowed)), []
        for a in antennas:
            last = [self.w[(*p, len(v) - 1)] for p, v in self.columns.items() if p[0] == a]
            if last:
                self.mip += pulp.lpSum(last) <= 1
            every += last
        if self.problem.most_on < len(antennas) and every:
            self.mip += pulp.lpSum(every) <= self.problem.most_on

    def _cutoff(self) -> None:
        """w[a, l, i] ≤ w[a, l, i + 1]."""
        for place, cutoffs in self.columns.items():
            for i in range(len(cutoffs) - 1):
                self.mip += self.w[(*place, i)] <= self.w[(*place, i + 1)]

    def _one_selection(self) -> None:
        """Σ_j s[j] = 1."""
        if len(self.s) > 1:
            self.mip += pulp.lpSum(self.s) == 1

    def _through(self) -> list[pulp.LpAffineExpression | int]:
        """t[k] for each class: Σ_j (s[j] : j lets k through); 1 where only one selection is."""
        through = self.problem.through
        if len(self.s) == 1:
            return [int(let) for let in through[0]]
        share = [pulp.LpVariable(_name("t", k), 0, 1) for k in range(through.shape[1])]
        for k, t in enumerate(share):
            self.mip += t == pulp.lpSum(self.s[j] for j in np.flatnonzero(through[:, k]).tolist())
        return share

    def _counts(self, r: int) -> dict[int, list[pulp.LpVariable]]:
        """The terms of e[r, a], by antenna."""
        terms: dict[int, list[pulp.LpVariable]] = {}
        for (a, level), i in zip(self.columns, self.reached[r].tolist(), strict=True):
            if i >= 0:
                terms.setdefault(a, []).append(self.w[a, level, i])
        return terms

    def _wanted(self) -> None:
        """u[r] ≤ Σ_a e[r, a] and u[r] ≤ t[k(r)]."""
        for r in np.flatnonzero(self.wanted).tolist():
            self.clock.check()
            let = self._let[self.row_class[r]]
            self.mip += self.u[r] <= let
            self.mip += self.u[r] <= pulp.lpSum(map(pulp.lpSum, self._counts(r).values()))

    def _stray(self) -> None:
        """u[r] ≥ e[r, a] + t[k(r)] − 1 for each a."""
        for r in np.flatnonzero(~self.wanted).tolist():
            self.clock.check()
            let = self._let[self.row_class[r]]
            for terms in self._counts(r).values():
                self.mip += self.u[r] >= pulp.lpSum(terms) + let - 1

    def objectives(self) -> list[tuple[str, pulp.LpAffineExpression, float]]:
        """What is minimised in turn: name, expression, constant left out of it."""
        loss, presented = self.problem.loss, self.problem.wanted_presented
        found, stray = (
            pulp.lpSum(float(self.weight[r]) * self.u[r] for r in np.flatnonzero(rows).tolist())
            for rows in (self.wanted, ~self.wanted)
        )
        order = [("loss", loss.stray * stray - loss.missed * found, loss.missed * presented)]
        over = self._over(found, stray)
        return [("excess", pulp.lpSum(over), 0.0), *order] if over else order

    def _over(
        self, found: pulp.LpAffineExpression, stray: pulp.LpAffineExpression
    ) -> list[pulp.LpVariable]:
        """By how much each rate is over its limit, where there is one."""
        limits, wanted, over = self.problem.limits, self.problem.wanted_presented, []
        if limits.missed_rate_max is not None and wanted:
            over.append(pulp.LpVariable("over_missed", 0))
            self.mip += over[-1] >= 1 - limits.missed_rate_max - found * (1 / wanted)
        if limits.stray_rate_max is not None:
            over.append(pulp.LpVariable("over_stray", 0))
            self.mip += over[-1] >= stray * (1 / self.problem.passes) - limits.stray_rate_max
        return over

    def aim(self, objective: pulp.LpAffineExpression) -> pulp.LpProblem:
        """The model with this objective."""
        self.mip.setObjective(objective + 0 * self.s[0])
        return self.mip

    def hold(self, objective: pulp.LpAffineExpression, solved: Solved) -> None:
        """Keep an objective at the value it was minimised to."""
        assert solved.objective is not None
        self.mip += objective <= solved.objective + _HELD

    def own(self) -> Own:
        """The choice that the solved variables spell out."""
        antennas = len(self.problem.allowed)
        level, cutoff = [OFF] * antennas, [-np.inf] * antennas
        for (a, at), cutoffs in self.columns.items():
            on = [i for i in range(len(cutoffs)) if self.w[a, at, i].value() > 0.5]
            if on:
                level[a], cutoff[a] = at, float(cutoffs[on[0]])
        selection = next((j for j, s in enumerate(self.s) if (s.value() or 0) > 0.5), 0)
        return Own(tuple(level), tuple(cutoff), selection)


def _name(name: str, *index: int) -> str:
    """Zero-padded, since PuLP sorts variables by name and the order sways the solve."""
    return "_".join([name, *(f"{number:06d}" for number in index)])
