"""Every sensible compromise at a read point: the exact frontier of missed against stray tags."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Annotated, Any, Literal

from pydantic import Field

from strategist.answers.over import Passes, passes_over
from strategist.answers.per_pass import PER_PASS, PerPass, per_pass_of
from strategist.answers.solution import Counted, Options, compare_counts, compare_guarded, least
from strategist.answers.what_if import Change, changed
from strategist.optimise.clock import Clock
from strategist.optimise.finish import finish
from strategist.optimise.frontier import Ratios, Sweep, sweep
from strategist.optimise.outer import Found
from strategist.optimise.own_part import is_own, with_own_powers
from strategist.optimise.problem import Answer, Counts, Problem, value
from strategist.optimise.scores import over, parts_of
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.answer import Declared, Hidden, Seconds, told
from strategist.survey.policy import Limits, Loss, Policy
from strategist.survey.records import ReadPoint
from strategist.tags.mask import unrecorded
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.guarded import guarded_outcome

FrontierStatus = Literal["complete", "best", "restricted", "partial", "infeasible", "undecided"]
_SEPARATE = (
    "Counts are over all passes by their weight: that conditions are weighed otherwise, or have "
    "limits of their own, is not in this view.",
)
_OWN = (
    "Powers and cutoffs by antenna: those that are best by your weights are among what was "
    "searched, others are not. By other weights there may be better ones.",
)
_OWN_SHARE = 0.3  # of the time, for these
_DIGITS = 10**6  # what a ratio of weights is told apart to
RATIOS = 4  # over copies or weights: how far from that of the policy weight ratios are looked at


@dataclass(frozen=True)
class RatioRange(Declared):
    """Weight ratios (missed ÷ stray), both ends included; `high` None: however large."""

    low: float
    high: float | None


@dataclass(frozen=True)
class Pair(Declared):
    """Counts of wanted tags missed and of stray tags."""

    missed: int
    stray: int


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

    Over copies or weights (`per_pass`), bounds and proof are of their counts, which are `over`.
    """

    outcome: Hidden[Outcome]
    loss: Annotated[float, Field(description="Under the read point's own weights")]
    guarded_loss: float
    guarded_missed: int
    guarded_stray: int
    per_pass: Annotated[PerPass | None, Field(description=PER_PASS)]
    over: Annotated[Pair | None, Field(description="Counts, where per_pass is")]
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
        counts = self.over or Pair(self.outcome.missed, self.outcome.stray)
        return Pair(self.missed_bound, self.stray_bound) == counts


@dataclass(frozen=True)
class Presented(Declared):
    """What was presented in the survey."""

    passes: int
    wanted: int
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

    Of own powers and cutoffs those are searched that are best by the weights of the policy.

    Where copies or passes by their weight are chosen over, the points are of those (`over` says how
    many there are), and only such as are best for a weight ratio of a quarter to four times that of
    the policy: "best" is their "complete".
    """

    read_point: str
    changes: tuple[Change, ...]
    status: FrontierStatus
    weights: Loss
    limits: Limits
    presented: Presented
    over: Annotated[Presented | None, Field(description="Of that; null: each pass surveyed, once")]
    points: tuple[FrontierPoint, ...]
    open: Annotated[
        tuple[Pair, ...], Field(description="Below these, more points are not ruled out")
    ]
    searched: dict[str, int]
    proof: dict[str, int | str]
    warnings: tuple[str, ...]
    seconds: Seconds

    @told(after="limits")
    def silence_loss(self) -> float:
        """What is lost by the weights where nothing is reported."""
        return value(self.weights.missed * self.presented.wanted)

    @property
    def silence_a_pass(self) -> float:
        """The same a pass, over what is chosen over."""
        over = self.over or self.presented
        return value(self.weights.missed * over.wanted / over.passes)


def trace_frontier(
    read_point: ReadPoint,
    options: Options | None = None,
    sets: Mapping[str, Any] | None = None,
    *,
    added_cable_loss_db: float = 0.0,
) -> Frontier:
    """All non-dominated (missed, stray) pairs of a read point, each with its strategy and proof.

    The weights of the policy only say which point is chosen, and over copies or weights which
    ratios are looked at; its hard limits cut the frontier off. Of the options the time limits
    and the seed count. Where the mask chains are too many to list, of the longest ones some are
    tried and nothing is proven, as a warning and the status say. `sets` and `added_cable_loss_db`
    change the read point first, as in `what_if`. Raises what `choose` raises.
    """
    options = options or Options()
    started = time.monotonic()
    changes: tuple[Change, ...] = ()
    assumptions: tuple[str, ...] = ()
    if sets or added_cable_loss_db:
        read_point, changes, assumptions = changed(read_point, sets or {}, added_cable_loss_db)
    clock = Clock(least(options.time_limit_s, options.total_limit_s))
    whole = complete(read_point)
    surveyed = parts_of(whole.survey, whole.policy, options.tuning)
    own = is_own(whole.survey, whole.policy)
    if own:
        part = Clock(None if clock.left is None else _OWN_SHARE * clock.left)
        surveyed, _ = with_own_powers(surveyed, whole.survey, whole.policy, part, options.seed)
    passes = passes_over(whole, options.seed)
    parts, ratios = surveyed, None
    if passes is not None:
        parts, ratios = over(surveyed, passes.sample), _ratios(whole.policy.loss)
    problem = parts.parts[0].problem
    a_point_s = _seconds_a_point(whole, passes) if clock.seconds is not None else 0.0
    found = sweep(parts, clock, a_point_s, ratios)
    slots = found.slots
    points = _points(whole, found, passes, ratios)
    masks = tuple(dict.fromkeys(mask for point in points for mask in point.strategy.masks))
    profile = problem.profile
    return Frontier(
        read_point=read_point.name,
        changes=changes,
        status=_status(found, shortened=slots < problem.slots, all_=ratios is None),
        weights=whole.policy.loss,
        limits=whole.policy.limits,
        presented=_presented(surveyed.parts[0].problem),
        over=None if passes is None else _presented(problem),
        points=points,
        open=tuple(Pair(*pair) for pair in found.open),
        searched={
            "levels": len(profile.levels_dbm),
            "cutoffs": len(problem.outcomes),
            "masks": len(problem.candidates.masks),
            "slots": slots,
            **parts.searched(),
        },
        proof={
            "by": "sweep",
            **dict(found.effort),
            **({} if passes is None else {"over": passes.words}),
        },
        warnings=(
            *assumptions,
            *whole.warnings,
            *(_SEPARATE if passes is not None and passes.separate else ()),
            *(_OWN if own else ()),
            *_not_searched(problem, slots),
            *unrecorded(masks, whole.survey.tags),
        ),
        seconds=time.monotonic() - started,
    )


def _ratios(loss: Loss) -> Ratios:
    own = _short(Fraction(loss.missed) / Fraction(loss.stray))
    return own / RATIOS, own * RATIOS


def _short(ratio: Fraction) -> Fraction:
    """The ratio to six digits, in numbers that can be multiplied by counts."""
    if ratio < 1:
        return 1 / _short(1 / ratio)
    return ratio.limit_denominator(max(1, int(_DIGITS / ratio)))


def _presented(problem: Problem) -> Presented:
    stray = int(problem.row_weight.sum()) - problem.wanted
    return Presented(problem.passes, problem.wanted, stray)


def _seconds_a_point(whole: ReadPoint, passes: Passes | None) -> float:
    """What it takes to evaluate a strategy, tried on one."""
    started = time.monotonic()
    top = Strategy((float(whole.survey.levels_dbm[-1]),), whole.policy.stop_after, None, ())
    for survey in (whole.survey, *([] if passes is None else [passes.survey])):
        evaluate(survey, whole.policy, top)
        guarded_outcome(survey, whole.policy, top)
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


def _status(found: Sweep, *, shortened: bool, all_: bool) -> FrontierStatus:
    if found.staircase.points and not found.open:
        return "restricted" if shortened else "complete" if all_ else "best"
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


def _checked(
    passes: Passes, policy: Policy, strategy: Strategy, counts: Counts, problem: Problem
) -> PerPass:
    """What a point comes to a pass, where the evaluator counts as the optimiser does."""
    even = replace(passes, separate=False)
    outcome = evaluate(passes.survey, policy, strategy)
    compare_counts(counts, outcome, problem, passes.conditions.times)
    drifted = guarded_outcome(passes.survey, policy, strategy).outcome
    return per_pass_of(even, policy, strategy, None, (outcome, drifted))


def _points(
    whole: ReadPoint, found: Sweep, passes: Passes | None, within: Ratios | None
) -> tuple[FrontierPoint, ...]:
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
        guarded = guarded_outcome(whole.survey, policy, strategy)
        per_pass = None
        if passes is None:
            compare_counts(counts, outcome, asked)
            compare_guarded(answer.key[2], guarded.loss)
        else:
            per_pass = _checked(passes, policy, strategy, counts, asked)
        loss = asked.loss(counts)
        low, high = ratios.get(point, (None, None))
        best_for = None
        if low is not None:
            if within is not None:
                low, high = max(low, within[0]), min(high or within[1], within[1])
            best_for = RatioRange(float(low), None if high is None else float(high))
        details = {
            "strategy": strategy,
            "outcome": outcome,
            "loss": outcome.loss,
            "guarded_loss": guarded.loss,
            "guarded_missed": guarded.missed,
            "guarded_stray": guarded.stray,
            "per_pass": per_pass,
            "over": None if per_pass is None else Pair(counts.missed, counts.stray),
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
