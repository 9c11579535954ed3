"""Beside the best strategy: one that stands drift better and loses little more in the survey."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from strategist.answers.per_pass import PER_PASS, PerPass, per_pass_of
from strategist.answers.solution import Solution, compare_counts, compare_guarded
from strategist.optimise.clock import Clock
from strategist.optimise.finish import finish
from strategist.optimise.outer import least_guarded
from strategist.optimise.problem import value
from strategist.optimise.strategy import Strategy
from strategist.optimise.sturdy import sturdiest
from strategist.optimise.zoom import is_wide
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.order import figure, short
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.guarded import GuardedOutcome, guarded_outcome

STURDIER = "Beside the best; null: there is none, none was found in time, or not asked for"


@dataclass(frozen=True)
class SturdierPerPass(Declared):
    """A sturdier strategy over what is chosen over: all figures a pass."""

    loss: float
    extra_loss: float
    allowance: float
    guarded_loss: float
    guarded_saved: float
    bound: Annotated[float, Field(description="No strategy of this kind has a lower guarded loss")]


@dataclass(frozen=True)
class Sturdier(Declared):
    """The strategy with the least guarded loss among those that lose at most `allowance` more than
    the best and save more than that under the guards, and are better than silence, whatever their
    score and dwell of a step (with own powers: of those that the answer looked at).

    `extra_loss` is what it gives up in the survey, `guarded_saved` what it gains under the guards.
    No strategy of that kind has a guarded loss below `bound`. Where others than each pass surveyed
    are chosen over, it is of this kind over those, a pass: see `over`; `allowance` is for as many
    passes as surveyed, and of the survey itself nothing is proven (`bound` 0).
    """

    strategy: Strategy
    mask_words: tuple[str, ...]
    bound: Annotated[float, Field(description="No strategy of this kind has a lower guarded loss")]
    allowance: Annotated[
        float, Field(description="The extra loss allowed: one missed tag, or 5 % of it")
    ]
    outcome: Outcome
    guarded: GuardedOutcome
    over: Annotated[SturdierPerPass | None, Field(description=PER_PASS)]
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
        one, other, over = self.outcome, self.best, self.over
        first = ""
        if over is not None:
            loss, least = short(over.loss), short(over.loss - over.extra_loss)
            first = f"a loss of {loss} a pass in place of {least} over what is chosen over; "
        return (
            f"{first}loss {figure(one.loss)} in place of {figure(other.loss)} in this survey: "
            f"{one.missed} missed and {one.stray} stray in place of {other.missed} and "
            f"{other.stray}"
        )

    @told(after="guarded")
    def gains(self) -> str:
        over = self.over
        if over is not None:
            most = short(over.guarded_loss + over.guarded_saved)
            return (
                f"a guarded loss of {short(over.guarded_loss)} a pass in place of {most} over what "
                "is chosen over, if every tag drifts the wrong way"
            )
        return (
            f"guarded loss {figure(self.guarded.loss)} in place of {figure(self.best_guarded)}: "
            f"{self.guarded.outcome.missed} missed and {self.guarded.outcome.stray} stray if "
            "every tag drifts the wrong way"
        )

    @told(after="bound")
    def proven(self) -> bool:
        over = self.over
        if over is not None:
            return over.bound >= over.guarded_loss
        return self.bound >= self.guarded.loss


@dataclass(frozen=True)
class SturdierSearch:
    """What was found, and the guarded loss that no sturdier strategy is below (a pass, where others
    than each pass surveyed are chosen over): that of the best where it is proven that there is
    none; None where none was sought. `least`: no strategy at all has a guarded loss below it, the
    least there is unless time ran out; None where that is not known."""

    found: Sturdier | None = None
    bound: float | None = None
    least: float | None = None


def sturdier_than(best: Solution, clock: Clock) -> SturdierSearch:
    """Seek it beside a best strategy, and have the evaluator replay it.

    None is sought beside a strategy that exceeds a hard limit or is no better than silence, nor
    where conditions are separate. Over copies or weights the allowance is that of as many passes as
    surveyed. Raises DisagreementError where the evaluator finds another loss than the optimiser
    did.
    """
    whole, problem, answer, over = best.whole, best.problem, best.answer, best.over
    if answer.key[0] > 0 or best.beaten_by_silence or (over and over.passes.separate):
        return SturdierSearch()
    copies = problem.passes / len(whole.survey.pass_ids)
    allowance = whole.policy.loss.little(answer.key[1] / copies)
    sturdy = sturdiest(best.parts, best.found, clock, value(copies * allowance))
    bound = sturdy.bound if over is None else value(sturdy.bound / problem.passes)
    least = _least_guarded(best, clock)
    if sturdy.found is None:
        return SturdierSearch(None, bound, least)
    problem, found = sturdy.found.part.problem, sturdy.found.answer
    strategy, counts = finish(problem, found)
    outcome = evaluate(whole.survey, whole.policy, strategy)
    guarded = guarded_outcome(whole.survey, whole.policy, strategy)
    per_pass = None
    if over is None:
        compare_counts(counts, outcome, problem)
        compare_guarded(found.key[2], guarded.loss)
    else:
        survey, times = over.passes.survey, over.passes.conditions.times
        over_all = evaluate(survey, whole.policy, strategy)
        compare_counts(counts, over_all, problem, times)
        drifted = guarded_outcome(survey, whole.policy, strategy).outcome
        a_pass = per_pass_of(over.passes, whole.policy, strategy, None, (over_all, drifted))
        per_pass = _over(best, a_pass, allowance / len(whole.survey.pass_ids), bound)
    return SturdierSearch(
        Sturdier(
            strategy,
            best.words_of(found),
            bound if over is None else 0.0,
            allowance,
            outcome,
            guarded,
            per_pass,
            best.outcome,
            best.guarded.loss,
        ),
        bound,
        least,
    )


def _least_guarded(best: Solution, clock: Clock) -> float | None:
    """Below what no strategy's guarded loss is, a pass where others than each pass surveyed are
    chosen over; None where powers of antennas differ, levels are very many, or time is out."""
    own_powers = best.whole.policy.reader.antenna_power == "own"
    if own_powers or clock.expired() or is_wide(best.problem, clock):
        return None
    least = least_guarded(best.parts, clock)
    return least if best.over is None else value(least / best.problem.passes)


def _over(best: Solution, found: PerPass, allowance: float, bound: float) -> SturdierPerPass:
    own = best.per_pass
    assert own is not None
    return SturdierPerPass(
        found.loss,
        value(found.loss - own.loss),
        value(allowance),
        found.guarded_loss,
        value(own.guarded_loss - found.guarded_loss),
        bound,
    )
