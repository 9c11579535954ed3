"""What to expect in passes to come, and how far from the best any choice of theirs may be.

The survey is one sample of passes, and each pass stands for its neighbourhood. The expected loss of
a strategy is its mean over fresh copies, with the spread over the passes surveyed. No strategy can
be better than the least expected loss of any, and a sample's least loss is on average no higher
than that (Mak, Morton and Wood, Oper. Res. Lett. 24, 1999): so batches of passes, taken again with
replacement and drawn afresh, each solved to its proof, bound it from below; what is given bounds it
from above.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from strategist.answers.solution import Options, Over, Solution
from strategist.optimise.clock import Clock
from strategist.optimise.known import answer_of
from strategist.optimise.outer import Found, choose_score
from strategist.optimise.problem import value
from strategist.optimise.scores import Parts, over
from strategist.optimise.search import least_loss
from strategist.survey.answer import Declared
from strategist.survey.copies import Sample, drawn_copies
from strategist.survey.occasions import conditions_of
from strategist.survey.order import short
from strategist.survey.policy import Loss
from strategist.survey.records import Floats, Ints, Survey
from strategist.survey.variation import variation_of
from strategist.trust.evaluate import evaluate

__all__ = ["Expected", "ExpectedLoss", "OptimumInterval", "expected_of"]

CONFIDENCE = 0.95
BATCHES = 12
BATCH_PASSES = (
    120  # of a batch, where the survey has fewer: each pass taken is drawn more than once
)
FRESH_PASSES = 600  # over which the expected loss is a mean
_FRESH, _BATCH = 1, 2  # streams of random numbers beside that of the choice


@dataclass(frozen=True)
class ExpectedLoss(Declared):
    """The loss a pass to come in the mean (by weight), with an interval at `confidence` over what
    passes may come.

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

    `gap` is how much less a pass another strategy may lose, at most. `batches` were solved; where
    time was left for too few, and where conditions are separate or antennas have powers of their
    own, `low` is 0.
    """

    low: float
    high: float
    gap: float
    confidence: float
    batches: int


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


def expected_of(solution: Solution, options: Options) -> Expected | None:
    """What to expect of a solution for passes to come; None for one of the survey's own aim."""
    over = solution.over
    if over is None or over.passes.copies == 1:
        return None
    clock, loss = Clock(options.time_limit_s), _expected_loss(solution, over, options.seed)
    open_ = over.passes.separate or over.own.own is not None  # what is chosen is not all of a batch
    least = np.zeros(0) if open_ else _batches(solution, options, clock)
    low = 0.0
    if len(least) == BATCHES:
        spread = float(least.std(ddof=1)) * (1 + 1 / BATCHES) ** 0.5
        low = max(0.0, float(least.mean()) - _student(BATCHES - 1) * spread)
    low = value(min(low, loss.high))
    gap = value(max(0.0, loss.a_pass - low))
    return Expected(loss, OptimumInterval(low, loss.high, gap, CONFIDENCE, len(least)))


def _expected_loss(solution: Solution, over: Over, seed: int) -> ExpectedLoss:
    """The mean over fresh copies; its error is that of the means of the passes surveyed."""
    survey, policy = solution.whole.survey, solution.whole.policy
    passes = len(survey.pass_ids)
    copies = max(2, FRESH_PASSES // passes)
    fresh = drawn_copies(survey, variation_of(survey), copies, (seed, _FRESH), own=False)
    outcome = evaluate(fresh, policy, solution.strategy)
    weights, times = policy.loss, conditions_of(survey).times
    losses = np.array(
        [weights.missed * len(p.missed) + weights.stray * len(p.stray) for p in outcome.by_pass]
    )
    by_pass = losses.reshape(copies, passes).mean(axis=0)
    mean = float(by_pass @ times / times.sum())
    off = float("inf")
    if passes > 1:
        apart = float(((times * (by_pass - mean)) ** 2).sum()) * passes / (passes - 1)
        off = _student(passes - 1) * apart**0.5 / float(times.sum())
    high = min(mean + off, _most(survey, times, policy.loss))
    return ExpectedLoss(
        value(mean),
        value(max(0.0, mean - off)),
        value(high),
        CONFIDENCE,
        over.passes.copies,
        value(over.own.loss),
    )


def _most(survey: Survey, times: Ints, loss: Loss) -> float:
    """The loss a pass where every wanted tag is missed and every stray reported."""
    a_tag = np.where(survey.roster_wanted, loss.missed, loss.stray)
    return float(a_tag @ times[survey.roster_pass] / times.sum())


def _student(freedom: int) -> float:
    return float(special.stdtrit(freedom, (1 + CONFIDENCE) / 2))


def _batches(solution: Solution, options: Options, clock: Clock) -> Floats:
    """Loss a pass that no strategy is below, in each batch there was time for."""
    survey, given = solution.whole.survey, solution.over
    assert given is not None
    parts, passes = given.own.parts, len(survey.pass_ids)
    times = conditions_of(survey).times
    copies = max(1, BATCH_PASSES // passes)
    variation, found = variation_of(survey), []
    for number in range(BATCHES):
        left = clock.left
        if left is not None and left <= 0:
            break
        stream = (options.seed, _BATCH, number)
        batch = drawn_copies(survey, variation, copies, stream, own=False)
        rng = np.random.default_rng(stream)
        taken = np.bincount(rng.integers(passes, size=passes), minlength=passes)
        counted = taken * times
        sample = Sample(batch, np.tile(counted, copies))
        share = Clock(None if left is None else left / (BATCHES - number))
        excess, loss = _least(over(parts, sample), share, solution)
        found.append(loss / (copies * counted.sum()) if excess == 0 else 0.0)
    return np.array(found)


def _least(parts: Parts, clock: Clock, solution: Solution) -> tuple[float, float]:
    """Excess and loss that no strategy of a batch is below."""
    tags, found = solution.whole.survey.tags, []
    for part in parts.parts:
        start = answer_of(part.problem, solution.strategy, tags)
        found.append((part, start))
    if len(found) == 1:
        return least_loss(found[0][0].problem, clock, found[0][1]).bound
    known = next((Found(part, start) for part, start in found if start is not None), None)
    return choose_score(parts, clock, known).found.answer.bound
