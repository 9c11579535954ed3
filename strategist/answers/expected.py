"""What to expect in passes to come, and how far from the best any choice of theirs may be.

The survey is one sample of passes, and each pass stands for its neighbourhood. The expected loss of
a strategy is its mean over fresh copies, with the spread over the passes surveyed. The least
expected loss of any strategy is no higher than that of the one given; and the least loss over a
sample is on average no higher than the least expected loss (Mak, Morton and Wood, Oper. Res. Lett.
24, 1999). The copies chosen over, solved to their proof, are such a sample, and how far their least
loss may be above its average is told by the spread of what was chosen (one replication in place of
batches: Bayraksan and Morton, Math. Program. 108, 2006). Where conditions are weighed by the worst
of them, that holds for the weights found, which come from the same copies.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
from pydantic import Field

from strategist.answers.over import caps_of
from strategist.answers.solution import Options, Over, Solution
from strategist.optimise.conditions import worst_of
from strategist.optimise.problem import value
from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared, told
from strategist.survey.copies import drawn_copies
from strategist.survey.late import special
from strategist.survey.occasions import Conditions, conditions_of
from strategist.survey.order import short
from strategist.survey.policy import Policy
from strategist.survey.records import Floats, ReadPoint, Survey
from strategist.survey.variation import variation_of
from strategist.trust.evaluate import evaluate
from strategist.trust.intervals import upper_bound

__all__ = ["Expected", "ExpectedLoss", "Foretold", "OptimumInterval", "expected_of", "foretold_of"]

CONFIDENCE = 0.95
FRESH_PASSES = 600  # over which the expected loss is a mean
_FRESH = 1  # a stream of random numbers beside that of the choice


@dataclass(frozen=True)
class ExpectedLoss(Declared):
    """The loss a pass to come (in the mean by weight, or as conditions are weighed), with an
    interval at `confidence` over what passes may come.

    `copies` of the survey were chosen over (the survey is one), and the proof is of them;
    `survey_best_loss` is the least loss in the survey itself, by this or another strategy.
    """

    a_pass: float
    low: float
    high: float
    confidence: float
    copies: int
    survey_best_loss: float


@dataclass(frozen=True)
class OptimumInterval(Declared):
    """Between which the least expected loss a pass of any strategy searched lies, at `confidence`.

    `gap` is how much less a pass another strategy may lose, at most. No strategy loses less than
    `bound` over the copies; where that is open, as where antennas have powers of their own, `low`
    is 0.
    """

    low: float
    high: float
    gap: float
    confidence: float
    bound: Annotated[float, Field(description="A pass, over the copies; 0: nothing is proven")]


@dataclass(frozen=True)
class Expected:
    """What to expect of a strategy chosen for passes to come."""

    loss: ExpectedLoss
    optimum: OptimumInterval

    @property
    def sentence(self) -> str:
        loss, least = self.loss, self.optimum.low
        bound = "how much less another may lose is open"
        if least > 0:
            bound = f"no strategy is below {short(least)}"
        return (
            f"Expect a loss of {short(loss.a_pass)} a pass ({short(loss.low)} to "
            f"{short(loss.high)}); {bound}."
        )


@dataclass(frozen=True)
class Foretold(Declared):
    """The loss a pass of a run of new passes: what an older survey lets expect, between `low` and
    `high` at `confidence`, and what it was."""

    a_pass: float
    low: float
    high: float
    confidence: float
    found: float

    @told()
    def sentence(self) -> str:
        where = "within" if self.low <= self.found <= self.high else "outside"
        return (
            f"The older survey lets expect a loss of {short(self.a_pass)} a pass in a run like "
            f"this ({short(self.low)} to {short(self.high)}); it was {short(self.found)}, {where}."
        )


def expected_of(solution: Solution, options: Options) -> Expected | None:
    """What to expect of a solution for passes to come; None for one of the survey's own aim."""
    over = solution.over
    if over is None or over.passes.copies == 1:
        return None
    assert solution.per_pass is not None
    losses = _Fresh.of(solution.whole, solution.strategy, options.seed, over.passes.separate)
    loss = _expected_loss(losses, solution, over)
    bound = solution.per_pass.bound or 0.0
    low = value(min(max(0.0, bound - losses.off) if bound else 0.0, loss.high))
    gap = value(max(0.0, loss.a_pass - low))
    return Expected(loss, OptimumInterval(low, loss.high, gap, CONFIDENCE, bound))


def foretold_of(
    older: ReadPoint, strategy: Strategy, passes: int, found: float, seed: int = 0
) -> Foretold | None:
    """What a survey lets expect of a run of so many passes that lost `found` a pass; None where its
    policy does not aim at passes to come."""
    if older.policy.aim != "expected":
        return None
    losses = _Fresh.of(older, strategy, seed, separate=False)
    alone = float(((losses.each - losses.mean) ** 2).mean(axis=0) @ losses.weight)
    off = losses.off
    if np.isfinite(off):
        off = (off**2 + losses.student**2 * alone / passes) ** 0.5
    high = value(losses.high(off))
    low = value(max(0.0, losses.mean - off))
    return Foretold(value(losses.mean), low, high, CONFIDENCE, value(found))


def _expected_loss(losses: _Fresh, solution: Solution, over: Over) -> ExpectedLoss:
    mean, off = losses.mean, losses.off
    return ExpectedLoss(
        value(mean),
        value(max(0.0, mean - off)),
        value(losses.high(off)),
        CONFIDENCE,
        over.passes.copies,
        value(over.own.loss),
    )


@dataclass(frozen=True, eq=False)
class _Fresh:
    """Losses over fresh copies: `each` of shape (copies, passes); what a pass weighs in their mean;
    the condition of each pass; the most that could be lost a pass, and the least that a pass loses
    that loses anything."""

    each: Floats
    weight: Floats
    conditions: Conditions
    most: float
    least: float

    @staticmethod
    def of(whole: ReadPoint, strategy: Strategy, seed: int, separate: bool) -> _Fresh:
        survey, policy = whole.survey, whole.policy
        passes = len(survey.pass_ids)
        copies = max(2, FRESH_PASSES // passes)
        fresh = drawn_copies(survey, variation_of(survey), copies, (seed, _FRESH), own=False)
        by_pass, loss = evaluate(fresh, policy, strategy).by_pass, policy.loss
        each = np.array([loss.missed * len(p.missed) + loss.stray * len(p.stray) for p in by_pass])
        each = each.reshape(copies, passes)
        conditions = conditions_of(survey)
        if not separate:
            one = np.zeros(passes, np.int64)
            conditions = Conditions(("all",), one, conditions.times, np.ones(1))
        cap = caps_of(policy, conditions) if separate else np.ones(1)
        share = worst_of(_means(each.mean(axis=0), conditions), cap)[1]
        most = worst_of(_means(_most(survey, policy), conditions), cap)[0]
        counted = np.bincount(conditions.of_pass, conditions.times)
        weight = (share / counted)[conditions.of_pass] * conditions.times
        return _Fresh(each, weight, conditions, most, min(loss.missed, loss.stray))

    @property
    def mean(self) -> float:
        return float(self.each.mean(axis=0) @ self.weight)

    def high(self, off: float) -> float:
        """The mean and how far it may be off; where next to no pass loses anything, that says less
        than how many such passes there may be (an exact binomial limit)."""
        by_pass = self.each.mean(axis=0)
        losing = by_pass[by_pass > 0]
        of_one = max(self.least, float(losing.mean())) if len(losing) else self.least
        share = upper_bound(len(losing), len(by_pass), (1 + CONFIDENCE) / 2)
        return min(max(self.mean + off, share * of_one), self.most)

    @property
    def student(self) -> float:
        freedom = len(self.weight) - len(self.conditions.names)
        return float(special.stdtrit(freedom, (1 + CONFIDENCE) / 2))

    @property
    def off(self) -> float:
        """How far the mean may be off; inf where a condition that counts has one pass."""
        of = self.conditions.of_pass
        passes, by_pass = np.bincount(of), self.each.mean(axis=0)
        if (passes[of[self.weight > 0]] < 2).any():
            return float("inf")
        apart = by_pass - _means(by_pass, self.conditions)[of]
        of_its_own = passes[of] / np.maximum(passes[of] - 1, 1)
        return self.student * float(((self.weight * apart) ** 2 @ of_its_own) ** 0.5)


def _means(of_pass: Floats, conditions: Conditions) -> Floats:
    """By condition, each pass by its weight."""
    summed = np.bincount(conditions.of_pass, of_pass * conditions.times)
    found: Floats = summed / np.bincount(conditions.of_pass, conditions.times)
    return found


def _most(survey: Survey, policy: Policy) -> Floats:
    """The loss of each pass where every wanted tag is missed and every stray reported."""
    a_tag = np.where(survey.roster_wanted, policy.loss.missed, policy.loss.stray)
    return np.bincount(survey.roster_pass, a_tag, len(survey.pass_ids)).astype(float)
