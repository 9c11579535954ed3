"""A strategy in each condition of a read point, which one binds, and what knowing it is worth.

Who knows the condition (a door contact, a light barrier) can set levels and cutoff for each; masks
are shared, since they are set once. Each condition's own best with given masks is an exact search
of its own passes; the masks tried are those of the answer, those that each condition alone would
have, and none. No settings can do better than each condition with masks of its own, which is the
bound.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from strategist.answers.over import Passes, caps_of
from strategist.answers.solution import Options, Solution
from strategist.optimise.clock import Clock
from strategist.optimise.conditions import worst_of
from strategist.optimise.finish import finish
from strategist.optimise.problem import value
from strategist.optimise.scores import posed_over
from strategist.optimise.search import search
from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared, told
from strategist.survey.copies import Sample
from strategist.survey.occasions import conditions_of
from strategist.survey.order import short
from strategist.survey.records import Floats, Survey
from strategist.tags.candidates import no_candidates
from strategist.tags.mask import Mask, accepted_by
from strategist.trust.evaluate import evaluate
from strategist.trust.in_conditions import InCondition, in_each, losses_of

__all__ = ["InEach", "Knowing", "OwnSetting", "in_each_of"]


@dataclass(frozen=True)
class OwnSetting(Declared):
    """What is best where this condition is known, with the masks of all."""

    condition: str
    strategy: Strategy
    loss_a_pass: float


@dataclass(frozen=True)
class Knowing(Declared):
    """Own levels and cutoff for each condition, with shared masks: `loss_a_pass` in place of that
    of the one strategy. No own settings, with masks as different as may be, are below `bound`."""

    loss_a_pass: float
    saves: float
    bound: float
    settings: tuple[OwnSetting, ...]


@dataclass(frozen=True)
class InEach(Declared):
    """The loss a pass in each condition, as they are weighed: by their mean, the worst alone, or
    the mean of the worst `tail` of all passes.

    `loss_a_pass` is what comes of it, over the passes chosen over; no strategy is below `bound`.
    `binds` is the condition with the highest loss a pass. `each` counts the passes surveyed.
    `knowing` is None where no time was left, or a condition alone has no strategy in its limits.
    """

    aim: Literal["mean", "worst", "cvar"]
    tail: Annotated[float | None, Field(description="null: not of this aim")]
    loss_a_pass: float
    bound: float
    binds: str
    each: tuple[InCondition, ...]
    knowing: Knowing | None

    @told(after="binds")
    def sentence(self) -> str:
        how = {
            "mean": "in the mean",
            "worst": "in the worst condition",
            "cvar": "in the worst share",
        }
        text = (
            f"A loss of {short(self.loss_a_pass)} a pass {how[self.aim]}; {self.binds} costs most."
        )
        if self.knowing is None:
            return text
        return (
            f"{text} To know the condition, and set levels and cutoff for each, would save "
            f"{short(self.knowing.saves)} a pass."
        )


def in_each_of(solution: Solution, options: Options) -> InEach | None:
    """None where the passes have one condition."""
    whole, over = solution.whole, solution.over
    surveyed = conditions_of(whole.survey)
    if len(surveyed.names) < 2:
        return None
    passes = over.passes if over else Passes(whole.survey, 1, surveyed, separate=False)
    outcome = over.outcome if over else solution.outcome
    losses = losses_of(in_each(outcome, passes.conditions, whole.policy))
    cap, rule = caps_of(whole.policy, passes.conditions), whole.policy.conditions
    reached = worst_of(losses, cap)[0]
    return InEach(
        rule.aim,
        rule.tail if rule.aim == "cvar" else None,
        value(reached),
        _bound(solution, passes, reached),
        surveyed.names[int(losses.argmax())],
        in_each(solution.outcome, surveyed, whole.policy),
        _Knowledge(solution, passes, Clock(options.time_limit_s)).worth(cap, reached),
    )


def _bound(solution: Solution, passes: Passes, reached: float) -> float:
    """The loss a pass that no strategy is below."""
    weighed = solution.over.weighed if solution.over else None
    if weighed is not None:
        return value(min(weighed.bound, reached))
    excess, loss = solution.answer.bound
    least = loss / float(passes.conditions.times.sum()) if excess >= solution.answer.key[0] else 0.0
    return value(min(least, reached))


@dataclass(frozen=True)
class _Own:
    """The best of one condition; `kept`: within the hard limits."""

    strategy: Strategy
    loss: float
    bound: float
    kept: bool


@dataclass(frozen=True, eq=False)
class _Knowledge:
    """Choices made for one condition each."""

    solution: Solution
    passes: Passes
    clock: Clock

    def worth(self, cap: Floats, reached: float) -> Knowing | None:
        """In place of what the one strategy has reached."""
        names = self.passes.conditions.names
        alone = self._all(None)
        if alone is None:
            return None
        best: tuple[float, list[_Own]] | None = None
        kept = (self.solution.strategy.masks, *(one.strategy.masks for one in alone), ())
        for masks in dict.fromkeys(kept):
            own = self._all(masks)
            if own is not None:
                total = worst_of(np.array([one.loss for one in own]), cap)[0]
                best = min((total, own), best or (np.inf, own), key=lambda pair: pair[0])
        if best is None:
            return None
        total, own = best
        least = worst_of(np.array([one.bound for one in alone]), cap)[0]
        return Knowing(
            value(min(total, reached)),
            value(max(0.0, reached - total)),
            value(min(least, total)),
            tuple(
                OwnSetting(name, one.strategy, value(one.loss))
                for name, one in zip(names, own, strict=True)
            ),
        )

    def _all(self, masks: tuple[Mask, ...] | None) -> list[_Own] | None:
        """The best of each condition with these masks (None: any); None where time is short, or a
        condition has no strategy within the limits."""
        found = []
        for condition in range(len(self.passes.conditions.names)):
            if self.clock.expired():
                return None
            found.append(self._own(condition, masks))
            if not found[-1].kept:
                return None
        return found

    def _own(self, condition: int, masks: tuple[Mask, ...] | None) -> _Own:
        conditions, whole = self.passes.conditions, self.solution.whole
        times = np.where(conditions.of_pass == condition, conditions.times, 0)
        survey = self.passes.survey
        problem = self.solution.problem
        if masks is not None:
            survey = _let_through(survey, masks)
            steps = problem.steps_by_masks[len(masks) : len(masks) + 1]
            none = no_candidates(whole.survey.tags)
            problem = replace(problem, candidates=none, steps_by_masks=steps, slots=0)
        problem = posed_over(problem, Sample(survey, times))
        answer = search(problem, self.clock)
        strategy, _ = finish(problem, answer)
        if masks is not None:
            strategy = replace(strategy, masks=masks)
        outcome = evaluate(self.passes.survey, whole.policy, strategy)
        each = in_each(outcome, conditions, whole.policy)[condition]
        bound = answer.bound[1] / float(times.sum()) if answer.bound[0] == 0 else 0.0
        return _Own(strategy, each.loss_a_pass, bound, each.kept)


def _let_through(survey: Survey, masks: tuple[Mask, ...]) -> Survey:
    """The survey where tags that masks reject are never read."""
    through = np.array(accepted_by(masks, survey.tags), bool)
    return survey.with_reads(through[survey.read_tag])
