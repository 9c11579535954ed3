"""The whole choice as one mixed-integer model: levels, ladder, stop rule, cutoff and mask chain.

Variables, with r a row of the profile, p its pass group, k its class, l a level, i an RSSI value:

    y[l]           level l is a step of the ladder
    z[c], w[i]     cutoff c is chosen (0: none); reads of value i pass it
    x[s, j]        slot s of the chain holds literal j
    either[s]      slot s is joined by "or"
    hit[s, k]      class k passes the literal of slot s
    through[s, k]  class k passes slots 0 … s
    going[p, l]    pass p has not stopped before level l
    g[r, l]        r is accepted at l while its pass still walks
    u[r, l]        r is reported by level l

The passes stand in the model twice: as surveyed, and (from row and pass numbers `rows` and `passes`
on) with the RSSI that counts under the guards, for the guarded loss.

With y, z, x and either whole numbers, all the others follow. Readability is data: any pattern of
reads over the levels is allowed, monotonic or not.
"""

from __future__ import annotations

import contextlib
from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pulp

from strategist.errors import SolveError
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.problem import Answer, Chain, Literal, Problem, answer_at, value
from strategist.optimise.solver import Outcome, Solved, solve_mip
from strategist.optimise.zoom import search_in_time
from strategist.survey.profile import Profile
from strategist.survey.records import Ints

__all__ = ["Model", "pays", "prove_by_model"]

_LEVELS_AT_ONCE = 10  # levels weighed in one objective: 2^10 stays far from the tolerances
_SECONDS_A_TERM, _SHARE = 4e-6, 0.3  # of building, measured; of the time left, at most
_PLACES = {"excess": 0, "loss": 1, "guarded": 2}  # in the key of an answer
_HELD = 1e-4  # by how much an objective may exceed its best once held: well above tolerances


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
            model.hold(objective, solved)

    def _enclose(
        self, model: Model, name: str, objective: pulp.LpAffineExpression, constant: float
    ) -> None:
        """The objective is no higher than that of the best strategy, and not below its bound.

        The best strategy has the least of all objectives before, which are proven.
        """
        place = _PLACES.get(name)
        if place is None:
            return
        model.mip += objective <= self.best.key[place] - constant + _HELD
        if place == 0 or (place == 1 and self.bound[0] >= self.best.key[0]):
            model.mip += objective >= self.bound[place] - constant - _HELD

    def _raise(self, name: str, least: float) -> None:
        if name == "excess":
            self.bound = max(self.bound, (least, 0.0))
        elif name == "loss":
            self.bound = max(self.bound, (self.best.key[0], least))
        elif name == "guarded":
            self.guarded = least


class Model:
    """The PuLP model of a problem, and the way back from its variables to a strategy.

    Building it raises OutOfTimeError where the clock runs out.
    """

    def __init__(self, problem: Problem, clock: Clock) -> None:
        self._begin(problem, clock)
        rows, passes = len(problem.profile.row_pass), len(problem.profile.pass_count)
        self._reported = self._walk(problem.profile, 0, 0)
        self._guarded = self._walk(problem.guarded, rows, passes)

    def _begin(self, problem: Problem, clock: Clock) -> None:
        """Steps, cutoff and mask chain."""
        self.problem = problem
        self.clock = clock
        self.mip = pulp.LpProblem("read_point", pulp.LpMinimize)
        levels = len(problem.profile.levels_dbm)
        self.y = [self._binary("y", level) for level in range(levels)]
        self.x = [
            [self._binary("x", s, j) for j in range(2 * len(problem.candidates.masks))]
            for s in range(problem.slots)
        ]
        self.either = [self._binary("either", s) for s in range(problem.slots)]
        self._ladder()
        self._passing = self._cutoff()
        self._through = self._chain()
        self._order_of_literals()

    def _binary(self, name: str, *index: int) -> pulp.LpVariable:
        return pulp.LpVariable(_name(name, *index), cat="Binary")

    def _share(self, name: str, *index: int) -> pulp.LpVariable:
        return pulp.LpVariable(_name(name, *index), 0, 1)

    def _ladder(self) -> None:
        """1 ≤ Σ y ≤ most steps; where power is not free the highest level is a step.

        Each slot s of the chain that is used takes the steps that chains of s + 1 masks have less
        than those of s.
        """
        most = self.problem.steps_by_masks
        less = [most[s] - most[s + 1] for s in range(self.problem.slots)]
        taken = pulp.lpSum(n * x for n, slot in zip(less, self.x, strict=True) for x in slot if n)
        self.mip += pulp.lpSum(self.y) >= 1
        self.mip += pulp.lpSum(self.y) + taken <= most[0]
        if self.problem.top_fixed:
            self.mip += self.y[-1] == 1

    def _cutoff(self) -> list[pulp.LpVariable]:
        """Σ z = 1 and w[i] = Σ (z[c] : c ≤ i), with cutoff c > 0 just below value c."""
        self.z = [self._binary("z", c) for c in range(len(self.problem.thresholds))]
        self.mip += pulp.lpSum(self.z) == 1
        w = [self._share("w", i) for i in range(len(self.z))]
        for i, z in enumerate(self.z):
            self.mip += w[i] == z + (w[i - 1] if i else 0)
        return w

    def _chain(self) -> list[pulp.LpAffineExpression]:
        """What each class meets; an unused slot changes nothing, an empty chain lets all through.

        and: t ≤ before, t ≤ lit, t ≥ before + lit − 1;  or: t ≥ before, t ≥ lit, t ≤ before + lit.
        """
        classes = range(self.problem.profile.classes)
        used = [pulp.lpSum(slot) for slot in self.x]
        through = [pulp.LpAffineExpression(1) for _ in classes]
        for s, slot in enumerate(self.x):
            self.mip += used[s] <= (used[s - 1] if s else 1)
            self.mip += self.either[s] >= 1 - used[s] if s else self.either[s] == 0
            for k in classes:
                self.clock.check()
                hit = self._share("hit", s, k)
                self.mip += hit == pulp.lpSum(slot[j] for j in self._literals_of(k))
                if s == 0:
                    through[k] = hit + 1 - used[0]
                    continue
                before, now, either = through[k], self._share("t", s, k), self.either[s]
                self.mip += now <= before + either
                self.mip += now <= hit + either
                self.mip += now >= before + hit - 1
                self.mip += now >= before - 1 + either
                self.mip += now >= hit - 1 + either
                self.mip += now <= before + hit
                through[k] = pulp.LpAffineExpression(now)
        return through

    def _literals_of(self, k: int) -> list[int]:
        """The literals that class k passes."""
        matches = self.problem.candidates.matches[:, k]
        return [2 * m + (0 if match else 1) for m, match in enumerate(matches)]

    def _order_of_literals(self) -> None:
        """Neighbours joined alike stand in order of number: swapping them would change nothing."""
        size = 2 * len(self.problem.candidates.masks)
        place = [pulp.lpSum((j + 1) * x for j, x in enumerate(slot)) for slot in self.x]
        for s in range(1, self.problem.slots):
            unused = 1 - pulp.lpSum(self.x[s])
            turn: pulp.LpAffineExpression | int = 0
            if s > 1:
                turn = self._binary("turn", s)
                joins = self.either[s] + self.either[s - 1]
                self.mip += turn <= joins
                self.mip += turn <= 2 - joins
            self.mip += place[s] >= place[s - 1] + 1 - (size + 1) * (unused + turn)

    def _passes_at(self, profile: Profile) -> Callable[[int, int], pulp.LpVariable]:
        """Whether the read of a row at a level passes the cutoff."""
        reached = np.searchsorted(self.problem.thresholds, profile.rssi, "right") - 1
        return lambda r, level: self._passing[int(reached[r, level])]

    def _walk(self, profile: Profile, rows: int, passes: int) -> list[pulp.LpVariable | None]:
        """What each row comes to, level by level; returns whether it is reported in the end.

        g = y ∧ going ∧ through ∧ w, and u[r, l] = u[r, l−1] ∨ g[r, l]. Variables are numbered from
        `rows` and `passes` on.
        """
        passing_at = self._passes_at(profile)
        reported: list[pulp.LpVariable | None] = [None] * len(profile.row_pass)
        going: dict[int, pulp.LpVariable | int] = defaultdict(lambda: 1)
        for level in range(len(profile.levels_dbm)):
            found: dict[int, list[tuple[int, pulp.LpVariable]]] = defaultdict(list)
            for r in np.flatnonzero(np.isfinite(profile.rssi[:, level])).tolist():
                self.clock.check()
                p, k = int(profile.row_pass[r]), int(profile.row_class[r])
                parts = [self.y[level], going[p], self._through[k], passing_at(r, level)]
                accepted = self._share("g", rows + r, level)
                for part in parts:
                    self.mip += accepted <= part
                self.mip += accepted >= pulp.lpSum(parts) - 3
                reported[r] = self._either_of(reported[r], accepted, rows + r, level)
                found[p].append((r, accepted))
            if level + 1 < len(profile.levels_dbm):
                for p, hits in found.items():
                    after = (passes + p, level + 1)
                    going[p] = self._still_going(p, after, going[p], hits, reported)
        return reported

    def _either_of(
        self, before: pulp.LpVariable | None, now: pulp.LpVariable, r: int, level: int
    ) -> pulp.LpVariable:
        """u = before ∨ now."""
        if before is None:
            return now
        u = self._share("u", r, level)
        self.mip += u >= before
        self.mip += u >= now
        self.mip += u <= before + now
        return u

    def _still_going(
        self,
        p: int,
        number: tuple[int, int],
        before: pulp.LpVariable | int,
        hits: list[tuple[int, pulp.LpVariable]],
        reported: list[pulp.LpVariable | None],
    ) -> pulp.LpVariable:
        """going[number] = 1 exactly while fewer than `stop_after` tags of p are reported."""
        stop_after = self.problem.policy.stop_after
        if stop_after == 1:
            after = self._share("going", *number)
            self.mip += after <= before
            for _, accepted in hits:
                self.mip += after <= 1 - accepted
            self.mip += after >= before - pulp.lpSum(accepted for _, accepted in hits)
            return after
        profile = self.problem.profile
        rows = np.flatnonzero(profile.row_pass == p).tolist()
        after = self._binary("going", *number)
        tags = pulp.lpSum(
            int(profile.row_count[r]) * u for r in rows if (u := reported[r]) is not None
        )
        present = int(profile.row_count[rows].sum())
        self.mip += tags >= stop_after * (1 - after)
        self.mip += tags <= stop_after - 1 + max(0, present - stop_after + 1) * (1 - after)
        return after

    def counted_by(self, weighed: Problem) -> tuple[pulp.LpAffineExpression, ...]:
        """Wanted and stray tags reported, where the passes count as in a problem of the same
        rows."""
        return tuple(
            self._counted(self._reported, wanted, weighed.row_weight) for wanted in (True, False)
        )

    def _counted(
        self, reported: list[pulp.LpVariable | None], wanted: bool, weight: Ints | None = None
    ) -> pulp.LpAffineExpression:
        """Tags reported, wanted or stray, over all passes."""
        weight = self.problem.row_weight if weight is None else weight
        is_wanted = self.problem.profile.row_wanted
        return pulp.lpSum(
            int(weight[r]) * u
            for r, u in enumerate(reported)
            if u is not None and is_wanted[r] == wanted
        )

    def least(self) -> list[tuple[str, pulp.LpAffineExpression, float]]:
        """Excess, where there are limits, and loss: as `objectives`."""
        loss, presented = self.problem.policy.loss, self.problem.wanted
        found, stray = (self._counted(self._reported, wanted) for wanted in (True, False))
        lost = ("loss", loss.stray * stray - loss.missed * found, loss.missed * presented)
        excess = self._excess(found, stray)
        return [lost] if excess is None else [("excess", excess, 0.0), lost]

    def objectives(self) -> list[tuple[str, pulp.LpAffineExpression, float]]:
        """The order of preference: (name, expression to minimise, constant left out of it)."""
        loss, presented = self.problem.policy.loss, self.problem.wanted
        kept, drifted = (self._counted(self._guarded, wanted) for wanted in (True, False))
        bits = [mask.length for mask in self.problem.candidates.masks]
        of_chain = [(j, x) for slot in self.x for j, x in enumerate(slot)]
        levels = list(enumerate(self.y))
        order = [
            *self.least(),
            ("guarded", loss.stray * drifted - loss.missed * kept, loss.missed * presented),
            ("masks", pulp.lpSum(x for _, x in of_chain), 0.0),
            ("cutoff", pulp.lpSum(self.z[1:]), 0.0),
            ("steps", pulp.lpSum(self.y), 0.0),
        ]
        for end in range(len(levels), 0, -_LEVELS_AT_ONCE):
            some = levels[max(0, end - _LEVELS_AT_ONCE) : end]
            order.append(("levels", pulp.lpSum(2 ** (i - some[0][0]) * y for i, y in some), 0.0))
        order.append(("bits", pulp.lpSum(bits[j // 2] * x for j, x in of_chain), 0.0))
        return order

    def _excess(
        self, found: pulp.LpAffineExpression, stray: pulp.LpAffineExpression
    ) -> pulp.LpAffineExpression | None:
        """Σ by how much the rates are over their limits; None where there is no limit."""
        over = self.over_limits(self.problem, found, stray)
        return pulp.lpSum(over) if over else None

    def over_limits(
        self,
        of: Problem,
        found: pulp.LpAffineExpression,
        stray: pulp.LpAffineExpression,
        mark: str = "",
    ) -> list[pulp.LpVariable]:
        """By how much each rate of a problem is over its limit; `mark` tells the variables of
        several problems apart."""
        limits, over = of.policy.limits, []
        if limits.missed_rate_max is not None and of.wanted:
            over.append(pulp.LpVariable(f"over_missed{mark}", 0))
            self.mip += over[-1] >= 1 - limits.missed_rate_max - found * (1 / of.wanted)
        if limits.stray_rate_max is not None:
            over.append(pulp.LpVariable(f"over_stray{mark}", 0))
            self.mip += over[-1] >= stray * (1 / of.passes) - limits.stray_rate_max
        return over

    def aim(self, objective: pulp.LpAffineExpression) -> pulp.LpProblem:
        """The model with this objective."""
        self.mip.setObjective(objective + 0 * self.y[0])
        return self.mip

    def hold(self, objective: pulp.LpAffineExpression, solved: Solved) -> None:
        """Keep an objective at the value it was minimised to."""
        assert solved.objective is not None
        self.mip += objective <= solved.objective + _HELD

    def answer(self) -> Answer:
        """The strategy that the solved variables spell out, replayed."""
        problem = self.problem
        levels = tuple(i for i, y in enumerate(self.y) if y.value() > 0.5)
        cutoff = next(c for c, z in enumerate(self.z) if z.value() > 0.5)
        placed, joins = [], []
        for slot, either in zip(self.x, self.either, strict=True):
            for j, x in enumerate(slot):
                if x.value() > 0.5:
                    placed.append(Literal(j // 2, bool(j % 2)))
                    joins.append("or" if either.value() > 0.5 else "and")
        chain = Chain(tuple(placed), tuple(joins[1:]))
        return answer_at(problem, chain, cutoff, levels)


def _name(name: str, *index: int) -> str:
    """Zero-padded, since PuLP sorts variables by name and the order sways the solve."""
    return "_".join([name, *(f"{number:06d}" for number in index)])
