"""Every sensible compromise at a read point: the exact frontier of missed against stray tags."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from typing import Any, Literal

from strategist.decide import Options, compare_counts, compare_guarded, least
from strategist.optimise.clock import Clock
from strategist.optimise.finish import finish
from strategist.optimise.front import Point
from strategist.optimise.frontier import Sweep, sweep
from strategist.optimise.problem import Answer, Counts, Problem, pose, value
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.policy import Limits, Loss
from strategist.survey.records import ReadPoint
from strategist.tags.mask import unrecorded
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.guarded import guarded_loss

__all__ = ["Frontier", "FrontierPoint", "RatioRange", "trace_frontier"]

FrontierStatus = Literal["complete", "restricted", "partial", "infeasible", "undecided"]


@dataclass(frozen=True)
class RatioRange:
    """Weight ratios (missed ÷ stray), both ends included; `high` None: however large."""

    low: float
    high: float | None

    def to_json(self) -> dict[str, float | None]:
        return {"low": self.low, "high": self.high}


@dataclass(frozen=True)
class FrontierPoint:
    """One compromise. No other strategy misses as few and lets as few stray tags through.

    `stray_bound`: no strategy of the searched set that misses no more than this one reports fewer
    strays; `missed_bound`: none that reports no more misses fewer. It is proven, so beaten by none,
    when they are the numbers of this one. `best_for` is the range of weight
    ratios for which no point of the frontier has a lower loss; None where another one has for
    each. `chosen` marks the point that is best for the weights of the policy; of several, the one
    with the least guarded loss and then the least work. `loss` is by these weights.
    """

    strategy: Strategy
    outcome: Outcome
    loss: float
    guarded_loss: float
    mask_words: tuple[str, ...]
    missed_bound: int
    stray_bound: int
    best_for: RatioRange | None
    chosen: bool

    @property
    def proven(self) -> bool:
        counts = self.outcome.missed, self.outcome.stray
        return (self.missed_bound, self.stray_bound) == counts

    def to_json(self) -> dict[str, Any]:
        return {
            "missed": self.outcome.missed,
            "stray": self.outcome.stray,
            "missed_rate": self.outcome.missed_rate,
            "stray_rate": self.outcome.stray_rate,
            "loss": self.loss,
            "guarded_loss": self.guarded_loss,
            "strategy": self.strategy.to_json(),
            "mask_words": list(self.mask_words),
            "missed_bound": self.missed_bound,
            "stray_bound": self.stray_bound,
            "proven": self.proven,
            "best_for": None if self.best_for is None else self.best_for.to_json(),
            "chosen": self.chosen,
        }


@dataclass(frozen=True)
class Frontier:
    """The points by missed ascending, so by stray descending; only those that keep the limits.

    `open` lists (missed, stray) pairs below which a strategy that is not among the points is not
    ruled out; none where the frontier is complete. `status` is "restricted" where it is complete
    for chains of at most `searched["slots"]` masks, fewer than the reader takes, since the longer
    ones are too many to list (some of them were tried, and may be points); "partial" where time ran
    out, "infeasible" where no strategy keeps the hard limits, "undecided" where that is not known
    or none was found in time.
    `passes`, `wanted` and `stray_presented` are what was presented in the survey.
    """

    read_point: str
    status: FrontierStatus
    loss: Loss
    limits: Limits
    passes: int
    wanted: int
    stray_presented: int
    points: tuple[FrontierPoint, ...]
    open: tuple[Point, ...]
    searched: dict[str, int]
    proof: dict[str, int | str]
    warnings: tuple[str, ...]
    seconds: float

    @property
    def silence_loss(self) -> float:
        """What is lost by the weights where nothing is reported."""
        return value(self.loss.missed * self.wanted)

    def to_json(self) -> dict[str, Any]:
        limits = self.limits
        return {
            "read_point": self.read_point,
            "status": self.status,
            "weights": {"missed": self.loss.missed, "stray": self.loss.stray},
            "limits": {
                "missed_rate_max": limits.missed_rate_max,
                "stray_rate_max": limits.stray_rate_max,
            },
            "silence_loss": self.silence_loss,
            "presented": {
                "passes": self.passes,
                "wanted": self.wanted,
                "stray": self.stray_presented,
            },
            "points": [point.to_json() for point in self.points],
            "open": [{"missed": missed, "stray": stray} for missed, stray in self.open],
            "searched": self.searched,
            "proof": self.proof,
            "warnings": list(self.warnings),
            "seconds": round(self.seconds, 3),
        }


def trace_frontier(read_point: ReadPoint, options: Options | None = None) -> Frontier:
    """All non-dominated (missed, stray) pairs of a read point, each with its strategy and proof.

    The weights of the policy only say which point is chosen; its hard limits cut the frontier off.
    Of the options the time limits count. Where the mask chains are too many to list, of the longest
    ones some are tried and nothing is proven, as a warning and the status say. Raises what `choose`
    raises.
    """
    options = options or Options()
    started = time.monotonic()
    clock = Clock(least(options.time_limit_s, options.total_limit_s))
    whole = complete(read_point)
    problem = pose(whole.survey, whole.policy, options.tuning)
    found = sweep(problem, clock, _seconds_a_point(whole) if clock.seconds is not None else 0.0)
    slots = found.slots
    points = _points(whole, problem, found)
    masks = tuple(dict.fromkeys(mask for point in points for mask in point.strategy.masks))
    profile = problem.profile
    return Frontier(
        read_point=read_point.name,
        status=_status(found, shortened=slots < problem.slots),
        loss=whole.policy.loss,
        limits=whole.policy.limits,
        passes=problem.passes,
        wanted=problem.wanted,
        stray_presented=int(problem.row_weight.sum()) - problem.wanted,
        points=points,
        open=found.open,
        searched={
            "levels": len(profile.levels_dbm),
            "cutoffs": len(problem.outcomes),
            "masks": len(problem.candidates.masks),
            "slots": slots,
        },
        proof={"by": "sweep", **dict(found.effort)},
        warnings=(
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
    guarded_loss(whole.survey, whole.policy, top)
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


def _points(whole: ReadPoint, asked: Problem, found: Sweep) -> tuple[FrontierPoint, ...]:
    """The points with their strategies, each replayed by the evaluator."""
    staircase, problem, policy = found.staircase, found.problem, whole.policy
    ratios = staircase.ratios()
    made: list[tuple[tuple[float, ...], dict[str, Any]]] = []
    for point in staircase.points:
        answer = staircase.answer(point)
        strategy, counts = _finish(asked, problem, answer)
        outcome = evaluate(whole.survey, policy, strategy)
        compare_counts(counts, outcome, asked)
        guarded = guarded_loss(whole.survey, policy, strategy)
        compare_guarded(answer.key[2], guarded)
        loss = asked.loss(counts)
        low, high = ratios.get(point, (None, None))
        best_for = None
        if low is not None:
            best_for = RatioRange(float(low), None if high is None else float(high))
        details = {
            "strategy": strategy,
            "outcome": outcome,
            "loss": loss,
            "guarded_loss": guarded,
            "mask_words": tuple(problem.candidates.words[x.mask] for x in answer.chain.literals),
            "missed_bound": found.missed_bounds[point],
            "stray_bound": found.stray_bounds[point],
            "best_for": best_for,
        }
        made.append(((loss, *answer.key[2:]), details))
    best = min(range(len(made)), key=lambda number: made[number][0], default=-1)
    return tuple(
        FrontierPoint(**details, chosen=number == best) for number, (_, details) in enumerate(made)
    )
