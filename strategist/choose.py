"""The one verb: from a surveyed read point to a strategy with its proof."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from strategist.errors import DisagreementError
from strategist.optimise.clock import Clock
from strategist.optimise.finish import finish
from strategist.optimise.model import prove_by_model
from strategist.optimise.problem import Answer, Counts, Problem, pose
from strategist.optimise.search import search
from strategist.optimise.selections import TooManySelectionsError
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.finding import Finding
from strategist.survey.records import ReadPoint
from strategist.tags.mask import unrecorded
from strategist.trust.diagnosis import diagnose
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.on_air import OnAir, on_air_of
from strategist.trust.standing import Standing, standing_of
from strategist.trust.unseen import SOLVES_MAX, Unseen, leave_out, thin_classes, unseen_rates

__all__ = [
    "Decided",
    "Options",
    "Result",
    "Status",
    "best_strategies",
    "best_strategy",
    "choose",
    "compare_counts",
    "compare_guarded",
    "decide",
    "proven_strategy",
]

Status = Literal["optimal", "feasible", "infeasible", "undecided"]
Prover = Literal["auto", "search", "model"]
_SAME_LOSS = 1e-6


@dataclass(frozen=True)
class Options:
    """How to solve. `time_limit_s` None: until proven. `seed` feeds the mixed-integer solver.
    `total_limit_s` bounds the whole answer: the proof, and with what it leaves the further solves
    (for `unseen`, of `judge`, or of trade-offs), shared evenly (None: each has its own
    `time_limit_s`).

    `prover` "search" is the exact search, "model" the mixed-integer model with HiGHS; "auto" takes
    the search unless the chains are too many to list. Both prove the same optimum. `unseen` asks
    how the masks hold for tags left out of the survey, which takes a few more solves.
    """

    time_limit_s: float | None = None
    seed: int = 0
    prover: Prover = "auto"
    unseen: bool = True
    total_limit_s: float | None = None

    def share(self, solves: int, spent: float) -> Options:
        """Those of one of `solves` still to come, which part evenly what `spent` seconds left."""
        if self.total_limit_s is None:
            return self
        left = max(0.0, self.total_limit_s - spent) / solves
        return replace(self, time_limit_s=_least(self.time_limit_s, left), total_limit_s=left)


@dataclass(frozen=True)
class Result:
    """A strategy, what it does in the survey, and what is proven of it.

    `mask_words` says what each mask of the strategy stands for; `unseen` how the masks hold for
    tags left out (None: no masks, or not asked for); `standing` holds rates with their intervals,
    the guarded loss and the margins, `on_air` what is lawful, the distance that people keep, and
    the time of the ladder; `findings` is the diagnosis of the survey. `bound` is a loss
    that no strategy of the searched set is below; `status` is "optimal" only when it equals the
    loss; "infeasible" when no strategy keeps the hard limits (this one exceeds them least) and
    "undecided" when time ran out before one was found that does, or none was proven to. `seconds`
    is the time of the proof.
    """

    read_point: str
    status: Status
    loss: float
    bound: float
    strategy: Strategy
    outcome: Outcome
    standing: Standing
    on_air: OnAir
    mask_words: tuple[str, ...]
    unseen: Unseen | None
    searched: dict[str, int]
    proof: dict[str, Any]
    findings: tuple[Finding, ...]
    warnings: tuple[str, ...]
    seconds: float

    @property
    def gap(self) -> float:
        """(loss − bound) ÷ loss; 0 where both are 0."""
        return (self.loss - self.bound) / self.loss if self.loss > self.bound else 0.0

    def to_json(self) -> dict[str, Any]:
        return {
            "read_point": self.read_point,
            "status": self.status,
            "loss": self.loss,
            "bound": self.bound,
            "gap": self.gap,
            "strategy": self.strategy.to_json(),
            "outcome": self.outcome.to_json(),
            **self.standing.to_json(),
            **self.on_air.to_json(),
            "mask_words": list(self.mask_words),
            "unseen": None if self.unseen is None else self.unseen.to_json(),
            "searched": self.searched,
            "proof": self.proof,
            "findings": [finding.to_json() for finding in self.findings],
            "warnings": list(self.warnings),
            "seconds": round(self.seconds, 3),
        }


def choose(read_point: ReadPoint, options: Options | None = None) -> Result:
    """The best strategy for a read point: limits, loss, guarded loss, then least work to install.

    Raises InputError where pairs were not surveyed and the policy does not say what to leave out,
    where no level is lawful, and where no step fits the dwell; DisagreementError where the
    independent evaluator finds another loss than the optimiser did, or a ladder that may not be.
    """
    options = options or Options()
    started = time.monotonic()
    clock = Clock(_least(options.time_limit_s, options.total_limit_s))
    whole = complete(read_point)
    found = decide(whole, options, clock)
    problem, answer, strategy = found.problem, found.answer, found.strategy
    seconds = time.monotonic() - started
    standing = standing_of(whole.survey, whole.policy, strategy, found.outcome)
    compare_guarded(answer.key[2], standing.guarded.loss)
    unseen = None
    if options.unseen and strategy.masks:
        unseen = _unseen(whole, strategy, options, seconds)
    weak = thin_classes(whole.survey) if strategy.masks else ()
    weak += unrecorded(strategy.masks, whole.survey.tags)
    on_air = on_air_of(whole.survey, whole.policy, strategy, found.outcome)
    if on_air.warnings:
        raise DisagreementError(
            f"chosen against the rules: {on_air.warnings[0]} Please report this"
        )
    return Result(
        read_point=read_point.name,
        status=found.status,
        loss=found.loss,
        bound=found.bound,
        strategy=strategy,
        outcome=found.outcome,
        standing=standing,
        on_air=on_air.searched(problem.steps_by_masks),
        mask_words=found.mask_words,
        unseen=unseen,
        searched={
            "levels": len(problem.profile.levels_dbm),
            "levels_predicted": _levels_predicted(problem, whole),
            "cutoffs": len(problem.outcomes),
            "masks": len(problem.candidates.masks),
        },
        proof={
            "by": found.prover,
            "guarded_bound": answer.guarded_bound,
            **dict(answer.effort),
        },
        findings=diagnose(read_point, strategy),
        warnings=(
            *whole.warnings,
            *standing.warnings,
            *_not_guarded(answer),
            *weak,
            *(unseen.warnings if unseen else ()),
        ),
        seconds=seconds,
    )


def best_strategies(parts: Sequence[ReadPoint], options: Options) -> list[Strategy]:
    """The best strategy of each part of a read point, checked by the evaluator and no more.

    For judging how a choice holds when it is repeated; each part has the whole time limit.
    """
    return [best_strategy(part, options) for part in parts]


def best_strategy(part: ReadPoint, options: Options) -> Strategy:
    """The best strategy of one part."""
    return proven_strategy(part, options)[0]


def proven_strategy(part: ReadPoint, options: Options) -> tuple[Strategy, bool]:
    """The best strategy of one part, and whether it was proven in the time given."""
    found = decide(complete(part), options, Clock(options.time_limit_s))
    return found.strategy, found.answer.proven


@dataclass(frozen=True, eq=False)
class Decided:
    """An answer with its strategy and the outcome that the evaluator found."""

    problem: Problem
    answer: Answer
    prover: str
    strategy: Strategy
    outcome: Outcome

    @property
    def status(self) -> Status:
        answer = self.answer
        if answer.key[0] > 0:
            return "infeasible" if answer.bound[0] >= answer.key[0] else "undecided"
        return "optimal" if answer.proven else "feasible"

    @property
    def loss(self) -> float:
        return self.problem.loss(self.answer.counts)

    @property
    def bound(self) -> float:
        """A loss that no strategy of the searched set is below (0 while limits are exceeded)."""
        return self.answer.bound[1] if self.answer.bound[0] >= self.answer.key[0] else 0.0

    @property
    def mask_words(self) -> tuple[str, ...]:
        chain = self.answer.chain
        return tuple(self.problem.candidates.words[x.mask] for x in chain.literals)


def decide(whole: ReadPoint, options: Options, clock: Clock) -> Decided:
    """Pose, prove, finish, and have the evaluator replay the answer; `whole` has no untried pair.

    Raises DisagreementError where the evaluator finds another loss than the optimiser did.
    """
    problem = pose(whole.survey, whole.policy)
    answer, prover = _prove(problem, options, clock)
    strategy, counts = finish(problem, answer)
    outcome = evaluate(whole.survey, whole.policy, strategy)
    compare_counts(counts, outcome, problem)
    return Decided(problem, answer, prover, strategy, outcome)


def _prove(problem: Problem, options: Options, clock: Clock) -> tuple[Answer, str]:
    if options.prover != "model":
        try:
            return search(problem, clock), "search"
        except TooManySelectionsError:
            if options.prover == "search":
                raise
    return prove_by_model(problem, clock, options.seed), "model"


def _unseen(whole: ReadPoint, strategy: Strategy, options: Options, spent: float) -> Unseen:
    """How the masks hold for tags left out; each solve without some has its share of the time."""
    again = options.share(SOLVES_MAX, spent)
    left_out = leave_out(whole)
    found = [proven_strategy(part, again) for part in left_out.parts]
    proven = [ok for _, ok in found]
    unseen = unseen_rates(whole.survey, strategy, left_out, [one for one, _ in found])
    if all(proven):
        return unseen
    warning = (
        f"{proven.count(False)} of {len(proven)} choices without some of the tags were not proven "
        "in the time given: how the masks hold for tags left out is less sure"
    )
    return replace(unseen, warnings=(*unseen.warnings, warning))


def _levels_predicted(problem: Problem, whole: ReadPoint) -> int:
    """How many of the levels searched hold predicted reads in some pass."""
    predicted = whole.survey.predicted
    if predicted is None:
        return 0
    levels = whole.survey.levels_dbm[predicted.pairs.any(axis=0)]
    return int(np.isin(problem.profile.levels_dbm, levels).sum())


def _least(*limits: float | None) -> float | None:
    return min((limit for limit in limits if limit is not None), default=None)


def _not_guarded(answer: Answer) -> tuple[str, ...]:
    """What to know where the least loss is proven and the least guarded loss is not."""
    if not answer.proven or answer.guarded_bound >= answer.key[2]:
        return ()
    return (
        f"The loss is proven, the guarded loss is not: it is {answer.key[2]:g} here, and among the "
        f"strategies with the same loss there may be one down to {answer.guarded_bound:g}, which "
        "would stand drift better.",
    )


def compare_counts(counts: Counts, outcome: Outcome, problem: Problem) -> None:
    """The optimiser does not mark its own work: DisagreementError where the two differ."""
    if (outcome.missed, outcome.stray) != (counts.missed, counts.stray) or abs(
        outcome.loss - problem.loss(counts)
    ) > _SAME_LOSS * max(1.0, outcome.loss):
        raise DisagreementError(
            f"the optimiser counts {counts.missed} missed and {counts.stray} stray, the evaluator "
            f"{outcome.missed} and {outcome.stray}, for the same strategy: please report this"
        )


def compare_guarded(counted: float, replayed: float) -> None:
    """Nor its guarded loss."""
    if abs(counted - replayed) > _SAME_LOSS * max(1.0, replayed):
        raise DisagreementError(
            f"the optimiser finds a guarded loss of {counted:g}, the evaluator of {replayed:g}, "
            "for the same strategy: please report this"
        )
