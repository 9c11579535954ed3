"""The one verb: from a surveyed read point to a strategy with its proof."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from typing import Annotated, Any

import numpy as np
import pandas as pd
from pydantic import Field

from strategist.decide import (
    Deadline,
    Options,
    Status,
    compare_guarded,
    decide,
    in_time,
    least,
)
from strategist.errors import DisagreementError
from strategist.optimise.clock import Clock
from strategist.optimise.problem import Answer, Problem
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.sturdier import STURDIER, Sturdier, SturdierSearch, sturdier_than
from strategist.survey.answer import Declared, Flat, Seconds, told
from strategist.survey.findings import Finding
from strategist.survey.records import ReadPoint
from strategist.tags.mask import unrecorded
from strategist.trust.diagnosis import against, diagnose
from strategist.trust.evaluate import Outcome
from strategist.trust.evaluation import SilenceLoss
from strategist.trust.on_air import OnAir, on_air_of
from strategist.trust.silence import silence_loss, silence_warnings
from strategist.trust.standing import Standing, standing_of
from strategist.trust.unseen import SOLVES_MAX, Unseen, leave_out, thin_classes, unseen_rates

__all__ = ["UNSEEN_LATE", "Result", "choose"]


_KEPT_BACK = 2.0  # what judging an answer takes, in times of posing its problem, roughly
UNSEEN_LATE = (
    "The time limit left no time to ask how the masks hold for tags left out of the choice: allow "
    "more time, or look at the masks' words."
)


@dataclass(frozen=True)
class Result(Declared):
    """A strategy, what it does in the survey, and what is proven of it.

    `mask_words` says what each mask of the strategy stands for; `unseen` how the masks hold for
    tags left out (None: no masks, or not asked for); `sturdier` is a strategy that stands drift
    better at little cost (None: there is none, it was not found, or not asked for: see
    `proof["sturdier_bound"]`); `standing` holds rates with their intervals,
    the guarded loss and the margins, `on_air` what is lawful, the distance that people keep, and
    the time of the ladder; `findings` is the diagnosis of the survey. `bound` is a loss
    that no strategy of the searched set is below; `status` is "optimal" only when it equals the
    loss, and "silent" in its place when no strategy is better than silence, which loses
    `silence_loss`: nothing searched is worth installing; "infeasible" when no strategy keeps the
    hard limits (this one exceeds them least) and "undecided" when time ran out before one was
    found that does, or none was proven to. `seconds` is the time of the proof.
    """

    read_point: str
    status: Status
    loss: float
    bound: float
    silence_loss: SilenceLoss
    strategy: Strategy
    outcome: Outcome
    standing: Flat[Standing]
    on_air: Flat[OnAir]
    mask_words: tuple[str, ...]
    unseen: Unseen | None
    sturdier: Annotated[Sturdier | None, Field(description=STURDIER)]
    searched: dict[str, int]
    proof: dict[str, Any]
    findings: tuple[Finding, ...]
    warnings: tuple[str, ...]
    seconds: Seconds

    def __repr__(self) -> str:
        return f"Result({self.read_point!r}: {self.status}, {self.strategy}, {self.outcome})"

    @property
    def passes(self) -> pd.DataFrame:
        """A row a pass, as `Outcome.to_frame`."""
        return self.outcome.to_frame()

    @told(after="bound")
    def gap(self) -> float:
        """(loss − bound) ÷ loss; 0 where both are 0."""
        return (self.loss - self.bound) / self.loss if self.loss > self.bound else 0.0


def choose(
    read_point: ReadPoint, options: Options | None = None, known: Strategy | None = None
) -> Result:
    """The best strategy for a read point: limits, loss, guarded loss, then least work to install.

    Where `known` is a strategy that may be chosen here, the answer is none that is worse.
    Raises InputError where pairs were not surveyed and the policy does not say what to leave out,
    where no level is lawful, and where no step fits the dwell; DisagreementError where the
    independent evaluator finds another loss than the optimiser did, or a ladder that may not be.
    """
    options = options or Options()
    started = time.monotonic()
    deadline = Deadline.of(options)
    clock = Clock(least(options.time_limit_s, options.total_limit_s))
    whole = complete(read_point)
    found = decide(whole, options, clock, known, keep_back=_KEPT_BACK)
    problem, answer, strategy = found.problem, found.answer, found.strategy
    seconds = time.monotonic() - started
    standing = standing_of(whole.survey, whole.policy, strategy, found.outcome)
    compare_guarded(answer.key[2], standing.guarded.loss)
    sturdier, unseen = SturdierSearch(), None
    late: tuple[str, ...] = ()
    if options.sturdier:
        own = options.share(2, time.monotonic() - started)
        sturdier = sturdier_than(whole, found, Clock(own.time_limit_s))
    if options.unseen and strategy.masks:
        unseen, late = _unseen(whole, strategy, options, started, deadline)
    weak = thin_classes(whole.survey) if strategy.masks else ()
    weak += unrecorded(strategy.masks, whole.survey.tags)
    on_air = on_air_of(whole.survey, whole.policy, strategy, found.outcome)
    if on_air.warnings:
        raise DisagreementError(
            f"chosen against the rules: {on_air.warnings[0]} Please report this"
        )
    findings = diagnose(read_point, strategy, standing.rates.dependence)
    return Result(
        read_point=read_point.name,
        status=found.status,
        loss=found.loss,
        bound=found.bound,
        silence_loss=silence_loss(whole.policy, found.outcome),
        strategy=strategy,
        outcome=found.outcome,
        standing=standing,
        on_air=on_air.searched(problem.steps_by_masks),
        mask_words=found.mask_words,
        unseen=unseen,
        sturdier=sturdier.found,
        searched={
            "levels": len(problem.profile.levels_dbm),
            "levels_predicted": _levels_predicted(problem, whole),
            "cutoffs": len(problem.outcomes),
            "masks": len(problem.candidates.masks),
        },
        proof={
            "by": found.prover,
            "guarded_bound": answer.guarded_bound,
            "sturdier_bound": sturdier.bound,
            **dict(answer.effort),
        },
        findings=findings,
        warnings=(
            *silence_warnings(whole.policy, found.outcome),
            *against(findings, strategy),
            *whole.warnings,
            *standing.warnings,
            *_not_guarded(answer),
            *weak,
            *(unseen.warnings if unseen else ()),
            *late,
        ),
        seconds=seconds,
    )


def _unseen(
    whole: ReadPoint, strategy: Strategy, options: Options, started: float, deadline: Deadline
) -> tuple[Unseen | None, tuple[str, ...]]:
    """How the masks hold for tags left out, and what to know of it.

    Each solve without some tags has its share of the time; None where no time is left for one.
    """
    again = options.share(SOLVES_MAX, time.monotonic() - started)
    left_out = None if deadline.passed() else leave_out(whole)
    found = [] if left_out is None else [in_time(p, again, deadline) for p in left_out.parts]
    made = [one for one in found if one is not None]
    if left_out is None or len(made) < len(found):
        return None, (UNSEEN_LATE,)
    proven = [ok for _, ok in made]
    unseen = unseen_rates(whole.survey, strategy, left_out, [one for one, _ in made])
    if all(proven):
        return unseen, ()
    warning = (
        f"{proven.count(False)} of {len(proven)} choices without some of the tags were not proven "
        "in the time given: how the masks hold for tags left out is less sure"
    )
    return replace(unseen, warnings=(*unseen.warnings, warning)), ()


def _levels_predicted(problem: Problem, whole: ReadPoint) -> int:
    """How many of the levels searched hold predicted reads in some pass."""
    predicted = whole.survey.predicted
    if predicted is None:
        return 0
    levels = whole.survey.levels_dbm[predicted.pairs.any(axis=0)]
    return int(np.isin(problem.profile.levels_dbm, levels).sum())


def _not_guarded(answer: Answer) -> tuple[str, ...]:
    """What to know where the least loss is proven and the least guarded loss is not."""
    if not answer.proven or answer.guarded_bound >= answer.key[2]:
        return ()
    return (
        f"The loss is proven, the guarded loss is not: it is {answer.key[2]:g} here, and among the "
        f"strategies with the same loss there may be one down to {answer.guarded_bound:g}, which "
        "would stand drift better.",
    )
