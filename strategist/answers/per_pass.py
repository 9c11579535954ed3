"""What a strategy loses a pass over what is chosen over, where that is not each pass surveyed once:
the terms in which strategies are then held against each other."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated

import numpy as np
from pydantic import Field

from strategist.answers.over import Passes, caps_of
from strategist.optimise.conditions import worst_of
from strategist.optimise.problem import value
from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared, Hidden
from strategist.survey.policy import Loss, Policy
from strategist.survey.records import Floats
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.guarded import guarded_outcome
from strategist.trust.in_conditions import in_each

__all__ = ["PER_PASS", "PerPass", "beside_silence", "judged_over", "loss_over", "per_pass_of"]

PER_PASS = "Over what is chosen over; null: that is each pass surveyed, once"


@dataclass(frozen=True)
class PerPass(Declared):
    """Means a pass over copies of the survey, passes by their weight, or conditions as weighed
    (`loss` and `guarded_loss` are then those of the worst, or of the mean of the worst).

    No strategy searched loses less than `bound`. `silence_loss` is that where nothing is reported.
    """

    loss: float
    bound: Annotated[float | None, Field(description="null: it was not searched for")]
    missed: float
    stray: float
    guarded_loss: float
    silence_loss: float
    excess: Hidden[float]
    everything_loss: Hidden[float]  # at least, where every tag is reported
    means: Hidden[Means] = field(compare=False, repr=False)

    def under(self, weights: Loss) -> float:
        """The loss a pass by other weights."""
        return self.means.loss(weights)


@dataclass(frozen=True, eq=False)
class Means:
    """Wanted and stray tags a pass, those missed and those reported: shape (conditions, 4), and the
    share of each of them; `cap` is the most that each may weigh (None: by its share)."""

    counts: Floats
    share: Floats
    cap: Floats | None

    @property
    def all(self) -> Floats:
        found: Floats = self.share @ self.counts
        return found

    def loss(self, weights: Loss) -> float:
        return self.weighed((0.0, 0.0, weights.missed, weights.stray))

    def weighed(self, weights: tuple[float, ...]) -> float:
        """Each of the counts by its weight."""
        losses = self.counts @ np.array(weights)
        if self.cap is None:
            return value(float(self.share @ losses))
        return value(worst_of(losses, self.cap)[0])


def per_pass_of(
    passes: Passes,
    policy: Policy,
    strategy: Strategy,
    bound: float | None = None,
    replayed: tuple[Outcome, Outcome] | None = None,
) -> PerPass:
    """By the evaluator: `replayed` over the passes chosen over, and under the guards (None: not
    yet)."""
    if replayed is None:
        drifted = guarded_outcome(passes.survey, policy, strategy).outcome
        replayed = evaluate(passes.survey, policy, strategy), drifted
    outcome = replayed[0]
    means, guarded = (_means(one, passes, policy) for one in replayed)
    loss, (_, _, missed, stray) = means.loss(policy.loss), means.all.tolist()
    return PerPass(
        loss,
        None if bound is None else value(min(bound, loss)),
        value(missed),
        value(stray),
        guarded.loss(policy.loss),
        means.weighed((policy.loss.missed, 0.0, 0.0, 0.0)),
        _excess(outcome, means, passes, policy),
        means.weighed((0.0, policy.loss.stray, 0.0, 0.0)),
        means,
    )


def _excess(outcome: Outcome, means: Means, passes: Passes, policy: Policy) -> float:
    if passes.separate:
        return value(sum(one.excess for one in in_each(outcome, passes.conditions, policy)))
    wanted, _, missed, stray = means.all.tolist()
    return value(policy.limits.excess(missed / wanted if wanted else None, stray))


def _means(outcome: Outcome, passes: Passes, policy: Policy) -> Means:
    conditions = passes.conditions
    counts = np.array(
        [[p.wanted, p.stray_presented, len(p.missed), len(p.stray)] for p in outcome.by_pass], float
    )
    weighed = counts.reshape(-1, 4) * conditions.times[:, None]
    of = conditions.of_pass if passes.separate else np.zeros(len(weighed), np.int64)
    share = conditions.share if passes.separate else np.ones(1)
    passed = np.bincount(of, conditions.times, len(share))
    summed = np.array([np.bincount(of, column, len(share)) for column in weighed.T]).T
    cap = caps_of(policy, conditions) if passes.separate else None
    return Means(summed / passed[:, None], share, cap)


def beside_silence(found: PerPass | None) -> tuple[float, float] | None:
    """The loss a pass, and that where nothing is reported."""
    return None if found is None else (found.loss, found.silence_loss)


def loss_over(passes: Passes, policy: Policy, strategy: Strategy) -> float:
    """`PerPass.loss` alone."""
    return judged_over(passes, policy, strategy)[1]


def judged_over(
    passes: Passes, policy: Policy, strategy: Strategy
) -> tuple[float, float, float, float]:
    """Excess over the hard limits and loss a pass of a strategy, then those of silence."""
    outcome = evaluate(passes.survey, policy, strategy)
    means = _means(outcome, passes, policy)
    wanted = means.counts[:, 0] > 0
    silent = [policy.limits.excess(1.0 if some else None, 0.0) for some in wanted.tolist()]
    silence = means.weighed((policy.loss.missed, 0.0, 0.0, 0.0))
    excess = _excess(outcome, means, passes, policy)
    return excess, means.loss(policy.loss), value(sum(silent)), silence
