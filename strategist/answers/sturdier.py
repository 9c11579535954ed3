"""Beside the best strategy: one that stands drift better and loses little more in the survey."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from strategist.answers.solution import Solution, compare_counts, compare_guarded
from strategist.optimise.clock import Clock
from strategist.optimise.finish import finish
from strategist.optimise.problem import value
from strategist.optimise.strategy import Strategy
from strategist.optimise.sturdy import sturdiest
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.order import figure
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.guarded import GuardedOutcome, guarded_outcome

STURDIER = "Beside the best; null: there is none, none was found in time, or not asked for"


@dataclass(frozen=True)
class Sturdier(Declared):
    """The strategy with the least guarded loss among those that lose at most `allowance` more than
    the best and save more than that under the guards, and are better than silence; all with the
    score and the dwell of a step that the best has.

    `extra_loss` is what it gives up in the survey, `guarded_saved` what it gains under the guards.
    No strategy of that kind has a guarded loss below `bound`.
    """

    strategy: Strategy
    mask_words: tuple[str, ...]
    bound: Annotated[float, Field(description="No strategy of this kind has a lower guarded loss")]
    allowance: Annotated[
        float, Field(description="The extra loss allowed: one missed tag, or 5 % of it")
    ]
    outcome: Outcome
    guarded: GuardedOutcome
    best: Hidden[Outcome]
    best_guarded: Hidden[float]

    @told(after="mask_words")
    def loss(self) -> float:
        return value(self.outcome.loss)

    @told(after="mask_words")
    def extra_loss(self) -> float:
        return value(self.outcome.loss - self.best.loss)

    @told(after="mask_words")
    def guarded_loss(self) -> float:
        return self.guarded.loss

    @told(after="mask_words")
    def guarded_saved(self) -> float:
        return value(self.best_guarded - self.guarded.loss)

    @told(after="guarded")
    def gives_up(self) -> str:
        one, other = self.outcome, self.best
        return (
            f"loss {figure(one.loss)} in place of {figure(other.loss)} in this survey: "
            f"{one.missed} missed and {one.stray} stray in place of {other.missed} and "
            f"{other.stray}"
        )

    @told(after="guarded")
    def gains(self) -> str:
        return (
            f"guarded loss {figure(self.guarded.loss)} in place of {figure(self.best_guarded)}: "
            f"{self.guarded.outcome.missed} missed and {self.guarded.outcome.stray} stray if "
            "every tag drifts the wrong way"
        )

    @told(after="bound")
    def proven(self) -> bool:
        return self.bound >= self.guarded.loss


@dataclass(frozen=True)
class SturdierSearch:
    """What was found, and the guarded loss that no sturdier strategy is below: that of the best
    where it is proven that there is none; None where none was sought."""

    found: Sturdier | None = None
    bound: float | None = None


def sturdier_than(best: Solution, clock: Clock) -> SturdierSearch:
    """Seek it beside a best strategy, and have the evaluator replay it.

    None is sought beside a strategy that exceeds a hard limit or is no better than silence, nor
    beside one that was not chosen over each pass surveyed, once. Raises
    DisagreementError where the evaluator finds another loss than the optimiser did.
    """
    whole, problem, answer = best.whole, best.problem, best.answer
    if best.over is not None or answer.key[0] > 0 or best.beaten_by_silence:
        return SturdierSearch()
    sturdy = sturdiest(problem, answer, clock)
    if sturdy.answer is None:
        return SturdierSearch(None, sturdy.bound)
    strategy, counts = finish(problem, sturdy.answer)
    outcome = evaluate(whole.survey, whole.policy, strategy)
    compare_counts(counts, outcome, problem)
    guarded = guarded_outcome(whole.survey, whole.policy, strategy)
    compare_guarded(sturdy.answer.key[2], guarded.loss)
    return SturdierSearch(
        Sturdier(
            strategy,
            best.words_of(sturdy.answer),
            sturdy.bound,
            whole.policy.loss.little(best.loss),
            outcome,
            guarded,
            best.outcome,
            answer.key[2],
        ),
        sturdy.bound,
    )
