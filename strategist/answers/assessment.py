"""An assessment: a solution, and how far to trust it."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
from pydantic import Field

from strategist.answers.conditions import InEach, in_each_of
from strategist.answers.expected import Expected, ExpectedLoss, OptimumInterval, expected_of
from strategist.answers.headline import Headline, headline_of
from strategist.answers.per_pass import PER_PASS, PerPass, beside_silence
from strategist.answers.solution import (
    Bounded,
    Deadline,
    Map,
    Options,
    Solution,
    Status,
    again_in,
    solve,
)
from strategist.answers.sturdier import STURDIER, Sturdier, SturdierSearch, sturdier_than
from strategist.errors import DisagreementError
from strategist.optimise.clock import Clock
from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Flat, Hidden, Seconds, told
from strategist.survey.findings import Finding
from strategist.survey.policy import Loss
from strategist.survey.records import Floats, ReadPoint
from strategist.survey.variation import variation_of
from strategist.tags.mask import unrecorded
from strategist.trust.diagnosis import against, diagnose
from strategist.trust.evaluate import Outcome
from strategist.trust.evaluation import (
    SilenceLoss,
    Standing,
    silence_loss,
    silence_warnings,
    standing_of,
)
from strategist.trust.on_air import OnAir, on_air_of
from strategist.trust.unseen import SOLVES_MAX, Unseen, leave_out, thin_classes, unseen_rates

if TYPE_CHECKING:
    import pandas as pd

_WORTH_S = 4.0  # of choosing again, from which on other processes are begun for it
_KEPT_BACK = 2.0  # what judging an answer takes, in times of posing its problem, roughly
UNSEEN_LATE = (
    "The time limit left no time to ask how the masks hold for tags left out of the choice: allow "
    "more time, or look at the masks' words."
)


@dataclass(frozen=True)
class Assessment(Bounded):
    """A strategy, what it does in the survey, and what is proven of it.

    `mask_words` says what each mask of the strategy stands for; `unseen` how the masks hold for
    tags left out (None: no masks, or not asked for); `sturdier` is a strategy that stands drift
    better at little cost (None: there is none, it was not found, or not asked for: see
    `proof["sturdier_bound"]`; `proof["least_guarded"]`: no strategy's guarded loss is below);
    `expected` says what to expect in passes to come (None: the aim is "survey"), `per_pass` what
    is lost a pass over what was chosen over, `conditions` what each condition costs and what
    knowing it is worth (None: there is one); where copies, weights or
    conditions are chosen over, status and proof are of those, loss and bound of the survey, and
    trade-offs, comparisons and templates tell losses as `per_pass` does; `standing` holds
    rates with their intervals, the guarded loss and the margins, `on_air` what is lawful, the
    distance that people keep, and the time of the ladder; `findings` is the diagnosis of the
    survey. `bound` is a loss that no strategy of the searched set is below; `status` is
    "optimal" only when it equals the loss, and "silent" in its place when no strategy is better
    than silence, which loses `silence_loss`: nothing searched is worth installing; "infeasible"
    when no strategy keeps the hard limits (this one exceeds them least) and "undecided" when
    time ran out before one was found that does, or none was proven to. `seconds` is the time of
    the proof.
    """

    read_point: str
    status: Status
    loss: float
    bound: float
    silence_loss: SilenceLoss
    weights: Loss
    strategy: Strategy
    outcome: Outcome
    standing: Flat[Standing]
    on_air: Flat[OnAir]
    mask_words: tuple[str, ...]
    unseen: Unseen | None
    sturdier: Annotated[Sturdier | None, Field(description=STURDIER)]
    expected: Hidden[Expected | None]
    per_pass: Annotated[PerPass | None, Field(description=PER_PASS)]
    conditions: Annotated[InEach | None, Field(description="null: the passes have one condition")]
    searched: dict[str, int]
    proof: dict[str, Any]
    findings: tuple[Finding, ...]
    warnings: tuple[str, ...]
    seconds: Seconds

    @told(after="status")
    def headline(self) -> Headline:
        """What to know first."""
        return headline_of(self)

    def __repr__(self) -> str:
        return f"Assessment({self.read_point!r}: {self.status}, {self.strategy}, {self.outcome})"

    @told(after="sturdier")
    def expected_loss(self) -> ExpectedLoss | None:
        return self.expected.loss if self.expected else None

    @told(after="sturdier")
    def expected_sentence(self) -> str | None:
        return self.expected.sentence if self.expected else None

    @told(after="sturdier")
    def optimum_interval(self) -> OptimumInterval | None:
        return self.expected.optimum if self.expected else None

    @property
    def passes(self) -> pd.DataFrame:
        """A row a pass, as `Outcome.to_frame`."""
        return self.outcome.to_frame()


def choose(
    read_point: ReadPoint,
    options: Options | None = None,
    known: Strategy | None = None,
    mapped: Map = map,
) -> Assessment:
    """The best strategy for a read point, assessed: limits, loss, guarded loss, then least work to
    install. Where `known` is a strategy that may be chosen here, the answer is none that is worse.

    `mapped` is as in `assess`. Raises what `solve` and `assess` raise.
    """
    options = options or Options()
    solution = solve(read_point, options, known, keep_back=_KEPT_BACK)
    return assess(solution, options, read_point, mapped)


def assess(
    solution: Solution,
    options: Options | None = None,
    surveyed: ReadPoint | None = None,
    mapped: Map = map,
) -> Assessment:
    """How far to trust a solution, as `options` ask; a time limit counts from where it began.

    `surveyed` is the read point with the gaps that it had (None: none that findings should name).
    `mapped` runs what is chosen again without some tags, where that takes long: the built-in `map`,
    or that of a pool of processes; the answer is the same.
    Raises DisagreementError where the independent evaluator finds another guarded loss than the
    optimiser did, or a ladder that may not be.
    """
    options = options or Options()
    started = time.monotonic() - solution.seconds
    limit = options.total_limit_s

    def spent() -> float:
        return time.monotonic() - started

    deadline = Deadline(None if limit is None else started + limit)
    whole, problem, answer = solution.whole, solution.problem, solution.answer
    survey, policy, strategy = whole.survey, whole.policy, solution.strategy
    standing = standing_of(survey, policy, strategy, solution.outcome, solution.guarded)
    sturdier, unseen = SturdierSearch(), None
    late: tuple[str, ...] = ()
    expected = expected_of(solution, options.share(2, spent()))
    if options.sturdier:
        own = options.share(2, time.monotonic() - started)
        sturdier = sturdier_than(solution, Clock(own.time_limit_s))
    if options.unseen and strategy.masks:
        unseen, late = _unseen(solution, options, started, deadline, mapped)
    weak = thin_classes(survey) if strategy.masks else ()
    weak += unrecorded(strategy.masks, survey.tags)
    on_air = on_air_of(survey, policy, strategy, solution.outcome)
    if on_air.warnings:
        raise DisagreementError(
            f"chosen against the rules: {on_air.warnings[0]} Please report this"
        )
    findings = diagnose(surveyed or whole, strategy, standing.rates.dependence)
    return Assessment(
        read_point=whole.name,
        status=solution.status,
        loss=solution.loss,
        bound=solution.bound,
        silence_loss=silence_loss(policy, solution.outcome),
        weights=policy.loss,
        strategy=strategy,
        outcome=solution.outcome,
        standing=standing,
        on_air=on_air.searched(problem.steps_by_masks),
        mask_words=solution.mask_words,
        unseen=unseen,
        sturdier=sturdier.found,
        expected=expected,
        per_pass=solution.per_pass,
        conditions=in_each_of(solution, options.share(2, spent())),
        searched=_searched(solution),
        proof={
            "by": solution.method,
            "guarded_bound": answer.guarded_bound,
            "sturdier_bound": sturdier.bound,
            "least_guarded": sturdier.least,
            **dict(answer.effort),
            **_own_powers(solution),
            **_chosen_over(solution, options),
        },
        findings=findings,
        warnings=(
            *silence_warnings(policy, solution.outcome, beside_silence(solution.per_pass)),
            *against(findings, strategy),
            *whole.warnings,
            *standing.warnings,
            *_not_guarded(solution),
            *_nothing_varies(solution),
            *weak,
            *(unseen.warnings if unseen else ()),
            *late,
        ),
        seconds=solution.seconds,
    )


def _unseen(
    solution: Solution, options: Options, started: float, deadline: Deadline, mapped: Map
) -> tuple[Unseen | None, tuple[str, ...]]:
    """How the masks hold for tags left out, and what to know of it.

    Each solve without some tags has its share of the time; None where no time is left for one.
    """
    whole, strategy = solution.whole, solution.strategy
    again = again_in(options.share(SOLVES_MAX, time.monotonic() - started), deadline)
    left_out = None if deadline.passed() else leave_out(whole)
    parts = () if left_out is None else left_out.parts
    spread = mapped if solution.seconds * len(parts) > _WORTH_S else map
    found = list(spread(again, parts))
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


def _searched(solution: Solution) -> dict[str, int]:
    """What was searched; `levels_predicted` of its levels hold predicted reads in some pass.

    Where scores are chosen from, levels and cutoffs are those of the one chosen. `scores` counts
    scores (and dwells of a step, where these are chosen, too) that were looked at, of which
    `scores_alike` hear what a simpler one does and `scores_at_root` are ruled out by the first
    bound.
    """
    problem, survey = solution.problem, solution.whole.survey
    levels, predicted = problem.profile.levels_dbm, survey.predicted
    some: Floats = (
        np.array([]) if predicted is None else survey.levels_dbm[predicted.pairs.any(axis=0)]
    )
    scores = solution.parts.searched()
    if scores:
        scores["scores_at_root"] = solution.at_root
    return {
        "levels": len(levels),
        "levels_predicted": int(np.isin(levels, some).sum()),
        "cutoffs": len(problem.outcomes),
        "masks": len(problem.candidates.masks),
        **scores,
    }


def _own_powers(solution: Solution) -> dict[str, Any]:
    own = solution.own if solution.over is None else solution.over.own.own
    return {} if own is None else {"own_powers": own.to_json()}


def _chosen_over(solution: Solution, options: Options) -> dict[str, Any]:
    """What was chosen over, with the seed of copies; nothing where it is each pass surveyed."""
    if solution.over is None:
        return {}
    passes = solution.over.passes
    seed = {"seed": options.seed} if passes.copies > 1 else {}
    return {"over": passes.words, **seed}


def _not_guarded(solution: Solution) -> tuple[str, ...]:
    """What to know where the least loss is proven and the least guarded loss is not."""
    answer, over = solution.answer, solution.over
    if not answer.proven or answer.guarded_bound >= answer.key[2]:
        return ()
    passes, a_pass = (1, "") if over is None else (solution.problem.passes, " a pass")
    own, least = answer.key[2] / passes, answer.guarded_bound / passes
    return (
        f"The loss is proven, the guarded loss is not: it is {own:g}{a_pass} here, and among the "
        f"strategies with the same loss there may be one down to {least:g}, which would be more "
        "robust to drift.",
    )


def _nothing_varies(solution: Solution) -> tuple[str, ...]:
    """What to know where copies of the survey hold next to nothing that it does not."""
    over = solution.over
    if over is None or over.passes.copies == 1:
        return ()
    vary = variation_of(solution.whole.survey)
    if vary.link_db.any() or vary.rssi_db.any():
        return ()
    return (
        "Of what varies from pass to pass the survey shows nothing but reads that fail (too few "
        "passes, or all alike): what to expect is then what was surveyed.",
    )
