"""What a choice is made over where it is not each pass of the survey, once: copies of the survey,
passes by weight, conditions of which the worst counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from strategist.errors import DisagreementError
from strategist.optimise.clock import Clock
from strategist.optimise.conditions import (
    InConditions,
    Weighing,
    least_over_conditions,
    worst_of,
)
from strategist.optimise.finish import finish
from strategist.optimise.known import answer_of
from strategist.optimise.problem import Problem, answer_at
from strategist.optimise.scores import posed_over
from strategist.optimise.strategy import Strategy
from strategist.survey.copies import PASSES, Sample, copies_for, drawn_copies
from strategist.survey.occasions import Conditions, conditions_of
from strategist.survey.policy import Policy
from strategist.survey.records import Floats, ReadPoint, Survey
from strategist.survey.variation import variation_of
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.in_conditions import in_each, losses_of

__all__ = ["Passes", "caps_of", "passes_over", "weighed_best"]

_SAME = 1e-5


@dataclass(frozen=True, eq=False)
class Passes:
    """The passes that are chosen over: `copies` of those surveyed (1: themselves), with the
    condition and weight of each. `separate`: each condition has its own limits, or more weight the
    more is lost in it, so that no one problem with weighed passes is the choice."""

    survey: Survey
    copies: int
    conditions: Conditions
    separate: bool

    @property
    def even(self) -> bool:
        """Whether each counts once in one problem."""
        return not self.separate and bool((self.conditions.times == 1).all())

    @property
    def words(self) -> str:
        """What they are, to be read after "over"."""
        if self.copies > 1:
            return f"{self.copies} copies of the survey, drawn by what may vary"
        return "the conditions as weighed" if self.separate else "the passes by their weight"

    @property
    def sample(self) -> Sample:
        return Sample(self.survey, self.conditions.times)


def passes_over(whole: ReadPoint, seed: int, together: int = PASSES) -> Passes | None:
    """What is chosen over at a read point without gaps, copies of about so many passes together;
    None: each of its passes, once."""
    survey, policy = whole.survey, whole.policy
    conditions = conditions_of(survey)
    limits = policy.limits
    limited = limits.missed_rate_max is not None or limits.stray_rate_max is not None
    several = len(conditions.names) > 1
    separate = several and (policy.conditions.aim != "mean" or limited)
    if policy.aim == "expected":
        copies = copies_for(len(survey.pass_ids), together)
        sample = drawn_copies(survey, variation_of(survey), copies, (seed,))
        return Passes(sample, copies, conditions_of(sample), separate)
    if separate or len(set(conditions.times.tolist())) > 1:
        return Passes(survey, 1, conditions, separate)
    return None


def caps_of(policy: Policy, conditions: Conditions) -> Floats:
    """The most that each condition may weigh in what is minimised."""
    share, of = conditions.share, policy.conditions
    if of.aim == "worst":
        return np.ones(len(share))
    found: Floats = np.minimum(share / (of.tail if of.aim == "cvar" else 1.0), 1.0)
    return found


def weighed_best(
    passes: Passes,
    whole: ReadPoint,
    own: Sequence[Problem],
    known: Strategy,
    *,
    seed: int,
    clock: Clock,
) -> tuple[InConditions, Strategy, Outcome]:
    """The best over separate conditions, with its outcome in the passes chosen over.

    `own` are the problems of each pass once, by score, first that which `known` is the best of.
    Raises DisagreementError where the evaluator finds another loss than the optimiser did.
    """
    policy, conditions = whole.policy, passes.conditions
    cap = caps_of(policy, conditions)
    weighing = Weighing(conditions.of_pass, conditions.times, cap)
    every: list[tuple[InConditions, Problem]] = []
    rival = float("inf")
    for number, one in enumerate(own):
        problem = posed_over(one, passes.sample)
        start = answer_of(problem, known, whole.survey.tags)
        share = Clock(None if clock.left is None else clock.left / (len(own) - number))
        least = least_over_conditions(problem, weighing, share, start, seed=seed, rival=rival)
        every.append((least, problem))
        if least.excess == 0:
            rival = min(rival, least.value)
    found, problem = min(every, key=lambda pair: (pair[0].excess, pair[0].value))
    infeasible = all(one.infeasible for one, _ in every)
    bounds = [one.bound for one, _ in every if infeasible or not one.infeasible]
    bound = min(*bounds, found.value)
    found = replace(found, bound=bound, infeasible=infeasible)
    answer = found.answer
    at_own = answer_at(problem, answer.chain, answer.cutoff, answer.levels)
    for one in (problem, _one_cutoff(problem, answer.cutoff)):
        near = at_own if one is problem else answer_at(one, answer.chain, 1, answer.levels)
        strategy, _ = finish(one, near)
        outcome = evaluate(passes.survey, policy, strategy)
        each = in_each(outcome, conditions, policy)
        excess = sum(part.excess for part in each)
        at_worst = worst_of(losses_of(each), cap)[0]
        if abs(excess - found.excess) < _SAME and abs(at_worst - found.value) < _SAME:
            return found, strategy, outcome
        if not answer.cutoff:
            break
    raise DisagreementError(
        f"the optimiser finds a loss a pass of {found.value:g} over the conditions, the evaluator "
        f"of {at_worst:g}, for the same strategy: please report this"
    )


def _one_cutoff(problem: Problem, cutoff: int) -> Problem:
    """The problem with one range of cutoffs, or none: others may trade losses between conditions
    where their sum stays."""
    if not cutoff:
        return problem
    return replace(
        problem,
        thresholds=problem.thresholds[[0, cutoff]],
        below=(problem.below[0], problem.below[cutoff]),
    )
