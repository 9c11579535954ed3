"""The least loss in the worst condition, or in the worst share of all passes (CVaR).

L_c(s) is the loss a pass of strategy s in condition c. What is minimised is

    V(s) = max { Σ_c λ_c L_c(s) : 0 ≤ λ_c ≤ cap_c, Σ_c λ_c = 1 }

with cap 1 for the worst condition, and π_c ÷ tail for the mean of the worst `tail` of all passes,
where π_c is the share of condition c (Rockafellar and Uryasev, J. Risk 2, 2000); with cap π_c it is
the mean. For given λ, D(λ) = min_s Σ λ_c L_c(s) is the problem with pass weights λ, solved by the
exact search; and D(λ) ≤ min_s V(s), since λ is one of those that V is the largest over. The master
problem takes the λ that is worst for the strategies found so far (Kelley's cutting planes):

    max θ,  θ ≤ Σ_c λ_c L_c(s_i) for each s_i found,  0 ≤ λ_c ≤ cap_c,  Σ_c λ_c = 1.

Its optimum may lie below the least V, as if strategies could be mixed by lot. Such a gap is closed,
as far as the clock and the size let it, by the mixed-integer model of the whole (`model.py`) with

    min η + Σ_c cap_c ξ_c,  ξ_c ≥ L_c(s) − η,  ξ_c ≥ 0,

which is V of s by duality, and with the hard limits of each condition: the exact search knows only
those of all passes together, which no strategy can keep less than those of each.

Weights of passes are whole numbers, so λ is rounded to what they can say. A bound of rounded
weights λ′ holds where it is taken as that of θ·λ′ with θ ≤ 1 such that θ·λ′_c ≤ cap_c: no loss is
negative.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from strategist.optimise.by_model import pays
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.model import Model
from strategist.optimise.problem import Answer, Problem, answer_at, value
from strategist.optimise.progress import tell, watched_by
from strategist.optimise.pulp_late import pulp
from strategist.optimise.search import least_loss, search
from strategist.optimise.solver import solve_mip
from strategist.survey.records import Floats, Ints

__all__ = ["InConditions", "Weighing", "least_over_conditions", "master"]

_FINEST = 1e-5  # losses a pass no further apart are the same
_PARTS = 1000  # the weight of a pass in the heaviest condition
_READS_MAX = 2000  # of the model, as surveyed and under the guards: more take it hours
_CALLS_MAX = 60  # exact searches; more than were ever needed


@dataclass(frozen=True, eq=False)
class Weighing:
    """Pass q is of condition `of_pass[q]` and counts `times[q]` times (at least once);
    `cap[c]` is the most that condition c may weigh."""

    of_pass: Ints
    times: Ints
    cap: Floats

    @cached_property
    def counted(self) -> Floats:
        """Passes of each condition, by their weight."""
        return np.bincount(self.of_pass, self.times, len(self.cap)).astype(float)

    def rounded(self, weight: Floats) -> tuple[Ints, Floats]:
        """Whole numbers for the passes that come near a weight of each condition, and the weight
        that these are."""
        a_pass = weight / self.counted
        whole = np.round(_PARTS * a_pass / a_pass.max())
        exact = whole * self.counted
        return (whole[self.of_pass] * self.times).astype(np.int64), exact / exact.sum()


@dataclass(frozen=True, eq=False)
class InConditions:
    """A strategy with its losses a pass in each condition, and what is proven of it.

    `value` is V of it, `bound` what no strategy is below; `weight` the weight of each condition
    that makes it so. `answer` is to `problem`, whose passes count by this weight. `excess` is that
    over the hard limits, summed over the conditions; `infeasible`: it is proven that none keeps
    them in each; `silence` is V where nothing is reported (inf: that exceeds a limit). `calls`
    counts the exact searches.
    """

    problem: Problem
    answer: Answer
    losses: Floats
    excess: float
    value: float
    bound: float
    weight: Floats
    calls: int
    infeasible: bool
    silence: float

    @property
    def proven(self) -> bool:
        return self.excess == 0 and self.bound >= self.value - _FINEST


def _small(problem: Problem) -> bool:
    """Whether the model of the whole is one that HiGHS may close."""
    reads = np.isfinite(problem.profile.rssi).sum() + np.isfinite(problem.guarded.rssi).sum()
    return int(reads) <= _READS_MAX


def master(losses: Floats, cap: Floats) -> tuple[Floats, float]:
    """The weights (conditions) that are worst for the best of some strategies, with what that one
    comes to; `losses` has shape (strategies, conditions)."""
    problem = pulp.LpProblem("conditions", pulp.LpMinimize)
    worst = pulp.LpVariable("worst", 0)
    weight = [pulp.LpVariable(f"w{c:05d}", 0, float(cap[c])) for c in range(len(cap))]
    problem += -worst
    for row in losses.tolist():
        terms = [(w, loss) for w, loss in zip(weight, row, strict=True)]
        problem += pulp.LpAffineExpression([*terms, (worst, -1.0)]) >= 0
    problem += pulp.lpSum(weight) == 1
    solve_mip(problem, clock=Clock())
    found = np.clip(np.array([float(pulp.value(w) or 0.0) for w in weight]), 0.0, cap)
    return found, float((losses @ found).min())


def worst_of(losses: Floats, cap: Floats) -> tuple[float, Floats]:
    """V of a strategy and the weights that make it: costly conditions first, each to its cap."""
    weight, left = np.zeros(len(cap)), 1.0
    for c in np.argsort(-losses, kind="stable").tolist():
        weight[c] = min(left, float(cap[c]))
        left -= weight[c]
    return float(losses @ weight), weight


class _Run:
    def __init__(self, problem: Problem, weighing: Weighing, clock: Clock) -> None:
        self.problem, self.weighing, self.clock = problem, weighing, clock
        self.pool: list[_Found] = []
        self.bound, self.calls = 0.0, 0
        self.infeasible = False
        self.rival = float("inf")  # V of a strategy elsewhere, within the limits

    def look(self, answer: Answer) -> bool:
        """Weigh a strategy in each condition; False where it is known."""
        one = _weighed(self.problem, self.weighing, answer)
        known = any(one.same(other) for other in self.pool)
        if not known:
            self.pool.append(one)
        return not known

    @property
    def best(self) -> _Found:
        return min(self.pool, key=lambda one: one.key)

    @property
    def closed(self) -> bool:
        best = self.best
        mark = min(self.rival, best.key[1] if best.key[0] == 0 else float("inf"))
        return self.bound >= mark - _FINEST

    def cut(self) -> None:
        """Kelley's planes, until they say no more. Raises OutOfTimeError."""
        cap, new = self.weighing.cap, True
        while new and not (self.pool and self.closed) and self.calls < _CALLS_MAX:
            weight = cap / cap.sum()
            if self.pool:
                weight, theta = master(np.array([one.losses for one in self.pool]), cap)
                if theta <= self.bound + _FINEST:
                    return
            new = self.call(weight)

    def call(self, weight: Floats) -> bool:
        """One exact search with some weights of the conditions; whether it found a new strategy."""
        if self.pool:
            self.clock.check()
        times, exact = self.weighing.rounded(weight)
        one = counted(self.problem, times)
        start = self.best.answer if self.pool else None
        if start is not None:
            start = answer_at(one, start.chain, start.cutoff, start.levels)
        with watched_by(None):  # its losses are of these weights alone
            answer = least_loss(one, self.clock, start)
        self.calls += 1
        excess, loss = answer.bound
        self.infeasible |= excess > 0
        if excess == 0:
            room = np.where(exact > 0, self.weighing.cap / np.maximum(exact, 1e-300), np.inf)
            self.bound = max(self.bound, min(1.0, float(room.min())) * loss / float(times.sum()))
        new = self.look(answer)
        best = self.best
        if best.key[0] == 0:
            words = f"{best.key[1]:.3g} a pass found, none below {min(self.bound, best.key[1]):.3g}"
            tell(None, None, words)
        return new

    def close(self, seed: int) -> None:
        """What the planes leave open, by the mixed-integer model. Raises OutOfTimeError."""
        best = self.best
        model = ConditionsModel(self.problem, self.weighing, self.clock)
        for excess in (True, False) if model.limited else (False,):
            if excess and best.key[0] == 0:
                model.keep(0.0)
                continue
            answer, bound = model.least(excess, seed)
            if answer is not None:
                self.look(answer)
            if excess:
                self.infeasible |= bound > _FINEST
                model.keep(self.best.key[0])
            elif not self.infeasible:
                self.bound = max(self.bound, bound)

    def settle(self) -> None:
        """Among strategies as good at the worst weights, one that stands drift best."""
        best = self.best
        times, _ = self.weighing.rounded(worst_of(best.losses, self.weighing.cap)[1])
        one = counted(self.problem, times)
        start = answer_at(one, best.answer.chain, best.answer.cutoff, best.answer.levels)
        with watched_by(None):
            self.look(search(one, self.clock, start))


def least_over_conditions(
    problem: Problem,
    weighing: Weighing,
    clock: Clock,
    known: Answer | None = None,
    *,
    seed: int = 0,
    rival: float = float("inf"),
) -> InConditions:
    """The strategy of least V that keeps the hard limits in each condition, then of the least V
    under the guards among those found; the least excess where none found keeps them.

    `known` is a strategy to begin with; what is no better than `rival`, the V of one within the
    limits in another problem, is not sought further.
    """
    run = _Run(problem, weighing, clock)
    run.rival = rival
    if known is not None:
        run.look(known)
    with contextlib.suppress(OutOfTimeError):
        run.cut()
        if not run.closed and _small(problem) and pays(problem, clock):
            run.close(seed)
        run.settle()
    best = run.best
    weight = worst_of(best.losses, weighing.cap)[1]
    one = counted(problem, weighing.rounded(weight)[0])
    answer = answer_at(one, best.answer.chain, best.answer.cutoff, best.answer.levels)
    bound = min(run.bound, best.key[1])
    return InConditions(
        one,
        answer,
        best.losses,
        best.key[0],
        best.key[1],
        bound,
        weight,
        run.calls,
        run.infeasible,
        _silence(problem, weighing),
    )


def _silence(problem: Problem, weighing: Weighing) -> float:
    losses = []
    for c, passes in enumerate(weighing.counted.tolist()):
        excess, loss = counted(problem, np.where(weighing.of_pass == c, weighing.times, 0)).silence
        if excess > 0:
            return float("inf")
        losses.append(loss / passes)
    return value(worst_of(np.array(losses), weighing.cap)[0])


@dataclass(frozen=True, eq=False)
class _Found:
    """A strategy with its losses a pass in each condition, and what it is compared by: excess, V, V
    under the guards, then the work to install."""

    answer: Answer
    losses: Floats
    key: tuple[float, ...]

    def same(self, other: _Found) -> bool:
        one, two = self.answer, other.answer
        return (one.chain, one.cutoff, one.levels) == (two.chain, two.cutoff, two.levels)


def counted(problem: Problem, times: Ints) -> Problem:
    """The problem where pass q of its sample counts `times[q]` times."""
    one, other = problem.profile.counted(times), problem.guarded.counted(times)
    return replace(problem, profile=one, guarded=other)


def _weighed(problem: Problem, weighing: Weighing, answer: Answer) -> _Found:
    through = problem.selection(answer.chain)
    losses, drifted, excess = [], [], 0.0
    for c, passes in enumerate(weighing.counted.tolist()):
        one = counted(problem, np.where(weighing.of_pass == c, weighing.times, 0))
        counts = one.replay(answer.levels, answer.cutoff, through)
        guarded = one.under_guard().replay(answer.levels, answer.cutoff, through)
        losses.append(one.loss(counts) / passes)
        drifted.append(one.loss(guarded) / passes)
        excess += one.excess(counts)
    found = np.array(losses)
    at_worst, guarded_worst = (worst_of(np.array(x), weighing.cap)[0] for x in (losses, drifted))
    key = (value(excess), value(at_worst), value(guarded_worst), *answer.key[3:])
    return _Found(answer, found, key)


class ConditionsModel:
    """The mixed-integer model with V, or the excess over the limits of each condition, to minimise.

    Building it raises OutOfTimeError where the clock runs out.
    """

    def __init__(self, problem: Problem, weighing: Weighing, clock: Clock) -> None:
        self._model, self._clock = Model(problem, clock), clock
        eta = pulp.LpVariable("eta", 0)
        self._value = pulp.LpAffineExpression(eta)
        over: list[pulp.LpVariable] = []
        for c, passes in enumerate(weighing.counted.tolist()):
            of = counted(problem, np.where(weighing.of_pass == c, weighing.times, 0))
            found, stray = self._model.counted_by(of)
            loss = problem.policy.loss
            beyond = pulp.LpVariable(f"beyond{c:05d}", 0)
            total = loss.stray * stray - loss.missed * found
            a_pass = total * (1 / passes) + loss.missed * of.wanted / passes
            self._model.mip += beyond >= a_pass - eta
            self._value += float(weighing.cap[c]) * beyond
            over += self._model.over_limits(of, found, stray, f"{c:05d}")
        self.limited = bool(over)
        self._excess = pulp.lpSum(over)

    def keep(self, excess: float) -> None:
        """No more excess than this from now on."""
        self._model.mip += self._excess <= excess + _FINEST

    def least(self, excess: bool, seed: int) -> tuple[Answer | None, float]:
        """A strategy of least excess, or V, and what none is below. Raises OutOfTimeError."""
        mip = self._model.aim(self._excess if excess else self._value)
        solved = solve_mip(mip, clock=self._clock, seed=seed)
        if solved.objective is None:
            return None, max(0.0, solved.bound or 0.0)
        return self._model.answer(), max(0.0, solved.bound or 0.0)
