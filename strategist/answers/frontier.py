"""Every sensible compromise at a read point: the exact frontier of missed against stray tags."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal

from pydantic import Field

from strategist.answers.solution import Counted, Options, compare_counts, compare_guarded, least
from strategist.answers.what_if import Change, changed
from strategist.optimise.clock import Clock
from strategist.optimise.finish import finish
from strategist.optimise.frontier import Sweep, sweep
from strategist.optimise.outer import Found
from strategist.optimise.problem import Answer, Counts, Problem, value
from strategist.optimise.scores import parts_of
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.answer import Declared, Hidden, Seconds, told
from strategist.survey.policy import Limits, Loss
from strategist.survey.records import ReadPoint
from strategist.tags.mask import unrecorded
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.guarded import guarded_outcome

FrontierStatus = Literal["complete", "restricted", "partial", "infeasible", "undecided"]


@dataclass(frozen=True)
class RatioRange(Declared):
    """Weight ratios (missed ÷ stray), both ends included; `high` None: however large."""

    low: float
    high: float | None


@dataclass(frozen=True)
class FrontierPoint(Counted):
    """One compromise. No other strategy misses as few and lets as few stray tags through.

    `stray_bound`: no strategy of the searched set that misses no more than this one reports fewer
    strays; `missed_bound`: none that reports no more misses fewer. It is proven, so beaten by none,
    when they are the numbers of this one. `best_for` is the range of weight
    ratios for which no point of the frontier has a lower loss; None where another one has for
    each. `chosen` marks the point that is best for the weights of the policy; of several, the one
    with the least guarded loss and then the least work. `loss` is by these weights.
    `guarded_missed` and `guarded_stray` are counted under the guards, so that the guarded loss of
    this strategy is known for any weights.
    """

    outcome: Hidden[Outcome]
    loss: Annotated[float, Field(description="Under the read point's own weights")]
    guarded_loss: float
    guarded_missed: int
    guarded_stray: int
    strategy: Strategy
    mask_words: tuple[str, ...]
    missed_bound: int
    stray_bound: int
    best_for: RatioRange | None
    chosen: bool

    @told(after="outcome")
    def missed_rate(self) -> float | None:
        return self.outcome.missed_rate

    @told(after="outcome")
    def stray_rate(self) -> float:
        return self.outcome.stray_rate

    @told(after="stray_bound")
    def proven(self) -> bool:
        counts = self.outcome.missed, self.outcome.stray
        return (self.missed_bound, self.stray_bound) == counts


@dataclass(frozen=True)
class Presented(Declared):
    """What was presented in the survey."""

    passes: int
    wanted: int
    stray: int


@dataclass(frozen=True)
class Open(Declared):
    """A pair of counts below which another point is not ruled out."""

    missed: int
    stray: int


@dataclass(frozen=True)
class Frontier(Declared):
    """The points by missed ascending, so by stray descending; only those that keep the limits.

    `changes` are keys of the policy that were set for it, as in a what-if (none: as it is).
    `open` lists (missed, stray) pairs below which a strategy that is not among the points is not
    ruled out; none where the frontier is complete. `status` is "restricted" where it is complete
    for chains of at most `searched["slots"]` masks, fewer than the reader takes, since the longer
    ones are too many to list (some of them were tried, and may be points); "partial" where time ran
    out, "infeasible" where no strategy keeps the hard limits, "undecided" where that is not known
    or none was found in time.
    """

    read_point: str
    changes: tuple[Change, ...]
    status: FrontierStatus
    weights: Loss
    limits: Limits
    presented: Presented
    points: tuple[FrontierPoint, ...]
    open: Annotated[
        tuple[Open, ...], Field(description="Below these, more points are not ruled out")
    ]
    searched: dict[str, int]
    proof: dict[str, int | str]
    warnings: tuple[str, ...]
    seconds: Seconds

    @told(after="limits")
    def silence_loss(self) -> float:
        """What is lost by the weights where nothing is reported."""
        return value(self.weights.missed * self.presented.wanted)


def trace_frontier(
    read_point: ReadPoint,
    options: Options | None = None,
    sets: Mapping[str, Any] | None = None,
    *,
    added_cable_loss_db: float = 0.0,
) -> Frontier:
    """All non-dominated (missed, stray) pairs of a read point, each with its strategy and proof.

    The weights of the policy only say which point is chosen; its hard limits cut the frontier off.
    Of the options the time limits count. Where the mask chains are too many to list, of the longest
    ones some are tried and nothing is proven, as a warning and the status say. `sets` and
    `added_cable_loss_db` change the read point first, as in `what_if`. Raises what `choose` raises.
    """
    options = options or Options()
    started = time.monotonic()
    changes: tuple[Change, ...] = ()
    assumptions: tuple[str, ...] = ()
    if sets or added_cable_loss_db:
        read_point, changes, assumptions = changed(read_point, sets or {}, added_cable_loss_db)
    clock = Clock(least(options.time_limit_s, options.total_limit_s))
    whole = complete(read_point)
    parts = parts_of(whole.survey, whole.policy, options.tuning)
    problem = parts.parts[0].problem
    found = sweep(parts, clock, _seconds_a_point(whole) if clock.seconds is not None else 0.0)
    slots = found.slots
    points = _points(whole, found)
    masks = tuple(dict.fromkeys(mask for point in points for mask in point.strategy.masks))
    profile = problem.profile
    return Frontier(
        read_point=read_point.name,
        changes=changes,
        status=_status(found, shortened=slots < problem.slots),
        weights=whole.policy.loss,
        limits=whole.policy.limits,
        presented=Presented(
            problem.passes, problem.wanted, int(problem.row_weight.sum()) - problem.wanted
        ),
        points=points,
        open=tuple(Open(*pair) for pair in found.open),
        searched={
            "levels": len(profile.levels_dbm),
            "cutoffs": len(problem.outcomes),
            "masks": len(problem.candidates.masks),
            "slots": slots,
            **parts.searched(),
        },
        proof={"by": "sweep", **dict(found.effort)},
        warnings=(
            *assumptions,
            *whole.warnings,
            *_not_searched(problem, slots),
            *unrecorded(masks, whole.survey.tags),
        ),
        seconds=time.monotonic() - started,
    )


def _seconds_a_point(whole: ReadPoint) -> float:
    """What it takes to evaluate a strategy, tried on one."""
    started = time.monotonic()
    top = Strategy((float(whole.survey.levels_dbm[-1]),), whole.policy.stop_after, None, ())
    evaluate(whole.survey, whole.policy, top)
    guarded_outcome(whole.survey, whole.policy, top)
    return time.monotonic() - started


def _not_searched(problem: Problem, slots: int) -> tuple[str, ...]:
    """What to know, and to do, where the longest chains were left out."""
    if slots == problem.slots:
        return ()
    masks, longer = len(problem.candidates.masks), f"{slots} mask{'' if slots == 1 else 's'}"
    return (
        f"chains of more than {longer} were not all searched: of {masks} "
        "masks they are too many to list. Some good ones were tried, and others may beat a point. "
        f"With reader.mask_slots {slots} the frontier is complete; solve bounds the loss over all "
        "chains for one pair of weights; a larger reader.mask_step_bits leaves fewer masks.",
    )


def _status(found: Sweep, *, shortened: bool) -> FrontierStatus:
    if found.staircase.points and not found.open:
        return "restricted" if shortened else "complete"
    if found.staircase.points:
        return "partial"
    return "undecided" if found.open or shortened else "infeasible"


def _finish(asked: Problem, ordering: Problem, answer: Answer) -> tuple[Strategy, Counts]:
    """As `finish`, with a cutoff that keeps the point, not only its loss.

    The weights of `ordering` tell any two points apart.
    """
    strategy, counts = finish(asked, replace(answer, key=_key(asked, answer)))
    if counts == answer.counts:
        return strategy, counts
    drifted = ordering.under_guard()
    through = ordering.selection(answer.chain)
    guarded = ordering.loss(drifted.replay(answer.levels, answer.cutoff, through))
    return finish(ordering, replace(answer, key=(*answer.key[:2], guarded, *answer.key[3:])))


def _key(problem: Problem, answer: Answer) -> tuple[float, ...]:
    return (answer.key[0], problem.loss(answer.counts), *answer.key[2:])


def _points(whole: ReadPoint, found: Sweep) -> tuple[FrontierPoint, ...]:
    """The points with their strategies, each replayed by the evaluator."""
    staircase, policy = found.staircase, whole.policy
    ratios = staircase.ratios()
    made: list[tuple[tuple[object, ...], dict[str, Any]]] = []
    for point in staircase.points:
        answer, part = staircase.answer(point), found.parts[point]
        asked = part.problem
        problem = replace(asked, policy=replace(asked.policy, loss=found.weights))
        strategy, counts = _finish(asked, problem, answer)
        outcome = evaluate(whole.survey, policy, strategy)
        compare_counts(counts, outcome, asked)
        guarded = guarded_outcome(whole.survey, policy, strategy)
        compare_guarded(answer.key[2], guarded.loss)
        loss = asked.loss(counts)
        low, high = ratios.get(point, (None, None))
        best_for = None
        if low is not None:
            best_for = RatioRange(float(low), None if high is None else float(high))
        details = {
            "strategy": strategy,
            "outcome": outcome,
            "loss": loss,
            "guarded_loss": guarded.loss,
            "guarded_missed": guarded.missed,
            "guarded_stray": guarded.stray,
            "mask_words": tuple(problem.candidates.words[x.mask] for x in answer.chain.literals),
            "missed_bound": found.missed_bounds[point],
            "stray_bound": found.stray_bounds[point],
            "best_for": best_for,
        }
        made.append(((loss, *Found(part, answer).key[2:]), details))
    best = min(range(len(made)), key=lambda number: made[number][0], default=-1)
    return tuple(
        FrontierPoint(**details, chosen=number == best) for number, (_, details) in enumerate(made)
    )
