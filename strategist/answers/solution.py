"""A solution: pose, prove, finish, and have the evaluator replay the answer.

A choice that is repeated to assess another one needs only this. It stands apart from `assessment`,
since worker processes load it and not the statistics of a whole answer (a second for each).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import TYPE_CHECKING, Literal

from strategist.answers.over import Passes, passes_over, weighed_best
from strategist.answers.per_pass import PerPass, per_pass_of
from strategist.errors import DisagreementError
from strategist.optimise.by_model import pays, prove_by_model
from strategist.optimise.clock import Clock
from strategist.optimise.conditions import InConditions
from strategist.optimise.finish import finish
from strategist.optimise.known import answer_of
from strategist.optimise.outer import Found, choose_score
from strategist.optimise.own_part import OwnPowers, is_own, over_boxes, with_own_powers
from strategist.optimise.problem import Answer, Counts, Problem
from strategist.optimise.progress import Reached, at_stage, watched_by
from strategist.optimise.scores import Parts, over, parts_of
from strategist.optimise.strategy import Strategy
from strategist.optimise.tuning import DEFAULT, Tuning
from strategist.optimise.zoom import search_in_time
from strategist.radio.complete import complete
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.copies import PASSES, PASSES_AGAIN
from strategist.survey.policy import InConditions as InEachCondition
from strategist.survey.policy import Policy
from strategist.survey.records import Ints, ReadPoint
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.guarded import GuardedOutcome, guarded_outcome

if TYPE_CHECKING:
    import pandas as pd

Status = Literal["optimal", "feasible", "infeasible", "undecided", "silent"]
Method = Literal["auto", "search", "model"]
_SAME_LOSS = 1e-6
_OWN_SHARE = 0.3  # of the time, for the best over each pass once, before others


@dataclass(frozen=True)
class Options:
    """How to solve. `time_limit_s` None: until proven. `seed` feeds the mixed-integer solver.
    `total_limit_s` bounds the whole answer: the proof, and with what it leaves the further solves
    (for `unseen`, of `assess`, or of trade-offs), shared evenly; those that no time is left for are
    not made, and that is said (None: each has its own `time_limit_s`).

    `method` "search" is the exact search, "model" the mixed-integer model with HiGHS; "auto" takes
    the search, and where it ends without proof and time is left, the model from there on. All prove
    the same optimum. `unseen` asks how the masks hold for tags left out of the survey, which takes
    a few more solves; `sturdier` seeks a strategy that stands drift better at little cost, which
    takes about one more. `tuning` changes what a search takes, not what it proves.
    """

    time_limit_s: float | None = None
    seed: int = 0
    method: Method = "auto"
    unseen: bool = True
    total_limit_s: float | None = None
    sturdier: bool = True
    tuning: Tuning = DEFAULT

    def share(self, solves: int, spent: float) -> Options:
        """Those of one of `solves` still to come, which part evenly what `spent` seconds left."""
        if self.total_limit_s is None:
            return self
        left = max(0.0, self.total_limit_s - spent) / solves
        return replace(self, time_limit_s=least(self.time_limit_s, left), total_limit_s=left)


@dataclass(frozen=True)
class Deadline:
    """When all of an answer is due, by the monotonic clock of this machine (None: never)."""

    at: float | None

    @staticmethod
    def of(options: Options) -> Deadline:
        limit = options.total_limit_s
        return Deadline(None if limit is None else time.monotonic() + limit)

    def passed(self) -> bool:
        return self.at is not None and time.monotonic() >= self.at


# A further choice, and whether it was proven in its time; None where no time was left for it.
Again = tuple[Strategy, bool] | None
# As the built-in `map`; that of a pool of processes spreads the choices over processors.
Map = Callable[[Callable[[ReadPoint], Again], Sequence[ReadPoint]], Iterable[Again]]


class Bounded(Declared):
    """An answer with a loss and a bound that no strategy searched is below."""

    loss: float
    bound: float

    @told(after="bound")
    def gap(self) -> float:
        """(loss − bound) ÷ loss; 0 where both are 0."""
        return (self.loss - self.bound) / self.loss if self.loss > self.bound else 0.0


class Counted(Declared):
    """An answer that tells of an outcome what is missed and what stray."""

    outcome: Hidden[Outcome]

    @told(after="outcome")
    def missed(self) -> int:
        return self.outcome.missed

    @told(after="outcome")
    def stray(self) -> int:
        return self.outcome.stray


@dataclass(frozen=True, eq=False)
class Over:
    """What was chosen over in place of each pass surveyed, once; what the strategy does there;
    `weighed` where conditions are separate; and the best over the passes as surveyed, with its own
    proof."""

    passes: Passes
    outcome: Outcome
    weighed: InConditions | None
    own: Solution


@dataclass(frozen=True, eq=False)
class Solution:
    """A strategy with its proof and the outcome that the evaluator found.

    `whole` is the read point as it was solved, without gaps; `answer` is the optimiser's, to its
    `problem`, which is one of the `parts` where scores are chosen from; `at_root` of them hold
    nothing as good by the first bound. `own` is what is proven of own powers (None: powers are
    shared). `seconds` is the time of it all. Where the choice was made `over` others than each
    pass surveyed, once (copies, weights, conditions), problem, answer, proof and status are of
    those; outcome, loss and bound are of the survey.

    `status` is "optimal" only where the bound equals the loss; "silent" where it shows that no
    strategy is better than silence, which keeps the hard limits; "infeasible" where no strategy
    keeps them (this one exceeds them least), "undecided" where that is open; else "feasible".
    """

    whole: ReadPoint
    problem: Problem
    answer: Answer
    method: str
    strategy: Strategy
    outcome: Outcome
    seconds: float
    parts: Parts
    at_root: int = 0
    own: OwnPowers | None = None
    over: Over | None = None

    def __repr__(self) -> str:
        return f"Solution({self.whole.name!r}: {self.status}, {self.strategy}, {self.outcome})"

    @property
    def passes(self) -> pd.DataFrame:
        """A row a pass, as `Outcome.to_frame`."""
        return self.outcome.to_frame()

    @property
    def found(self) -> Found:
        """The answer with its part, where conditions are not separate."""
        return Found(next(x for x in self.parts.parts if x.problem is self.problem), self.answer)

    @cached_property
    def guarded(self) -> GuardedOutcome:
        """The outcome under the guards. Raises DisagreementError where the evaluator finds another
        loss than the optimiser did."""
        policy, strategy = self.whole.policy, self.strategy
        found = guarded_outcome(self.whole.survey, policy, strategy)
        over = self.over
        if over is None or over.passes.even:
            replayed = found.loss if over is None else self._drifted.loss
            compare_guarded(self.answer.key[2], replayed)
        return found

    @cached_property
    def per_pass(self) -> PerPass | None:
        """What it loses over the passes chosen over; None: each pass surveyed, once."""
        if self.over is None:
            return None
        weighed, passes = self.over.weighed, self.over.passes
        bound = self._least / self.problem.passes if weighed is None else weighed.bound
        replayed = self.over.outcome, self._drifted
        return per_pass_of(passes, self.whole.policy, self.strategy, bound, replayed)

    @cached_property
    def _drifted(self) -> Outcome:
        """Under the guards, over the passes chosen over."""
        assert self.over is not None
        survey = self.over.passes.survey
        return guarded_outcome(survey, self.whole.policy, self.strategy).outcome

    @property
    def rank(self) -> tuple[float, float, float]:
        """What answers of different policies can be compared by, least first: excess, loss, guarded
        loss."""
        found = self.per_pass
        if found is None:
            return self.answer.key[0], self.answer.key[1], self.answer.key[2]
        return found.excess, found.loss, found.guarded_loss

    @property
    def status(self) -> Status:
        answer = self.answer
        if self.over is not None and self.over.weighed is not None:
            return _status_of(self.over.weighed)
        if answer.key[0] > 0:
            return "infeasible" if answer.bound[0] >= answer.key[0] else "undecided"
        excess, loss = self.problem.silence
        if excess == 0 and self._least >= loss:
            return "silent"
        return "optimal" if answer.proven else "feasible"

    @property
    def proven(self) -> bool:
        """Whether no strategy is better, hard limits first."""
        weighed = self.over.weighed if self.over else None
        return self.answer.proven if weighed is None else weighed.proven

    @property
    def beaten_by_silence(self) -> bool:
        """Whether to report nothing is as good, hard limits first."""
        return self.problem.silence <= self.answer.key[:2]

    @property
    def loss(self) -> float:
        return self.problem.loss(self.answer.counts) if self.over is None else self.outcome.loss

    @property
    def bound(self) -> float:
        """A loss that no strategy of the searched set is below (0 while limits are exceeded)."""
        return self._least if self.over is None else self.over.own.bound

    @property
    def _least(self) -> float:
        """The same of the passes chosen over."""
        return self.answer.bound[1] if self.answer.bound[0] >= self.answer.key[0] else 0.0

    def bounded_by(self, wider: Sequence[Solution]) -> Solution:
        """With the highest bounds of solutions at this read point that may use all it may."""
        key, over = self.answer.key, self.over
        bound = max(one.answer.bound for one in wider)
        answer = replace(self.answer, bound=min(bound, (key[0], key[1])))
        others = [one.over for one in wider if one.over is not None]
        if over is not None and len(others) == len(wider):
            own, weighed = over.own.bounded_by([one.own for one in others]), over.weighed
            bounds = [one.weighed.bound for one in others if one.weighed is not None]
            if weighed is not None and bounds:
                weighed = replace(weighed, bound=min(max(bounds), weighed.value))
            over = replace(over, own=own, weighed=weighed)
        return replace(self, answer=answer, over=over)

    @property
    def mask_words(self) -> tuple[str, ...]:
        return self.words_of(self.answer)

    def words_of(self, answer: Answer) -> tuple[str, ...]:
        """What each mask of an answer to the problem stands for."""
        return tuple(self.problem.candidates.words[x.mask] for x in answer.chain.literals)


def _status_of(weighed: InConditions) -> Status:
    """That of a choice over separate conditions."""
    if weighed.excess > 0:
        return "infeasible" if weighed.infeasible else "undecided"
    if weighed.bound >= weighed.silence:
        return "silent"
    return "optimal" if weighed.proven else "feasible"


def solve(
    read_point: ReadPoint,
    options: Options | None = None,
    known: Strategy | None = None,
    *,
    clock: Clock | None = None,
    keep_back: float = 0.0,
    copied_passes: int = PASSES,
) -> Solution:
    """The best strategy of a read point, proven, and replayed by the evaluator.

    Where `known` is a strategy that may be chosen here, the answer is none that is worse. The time
    is that of the options, or of the `clock`; of what the proof leaves, `keep_back` times what
    posing took is kept for what follows on the same survey. Copies, where the aim is "expected",
    hold about `copied_passes` together. Raises InputError where pairs were not
    surveyed and the policy does not say what to leave out, where no level is lawful, and where no
    step fits the dwell; DisagreementError where the evaluator finds another loss than the optimiser
    did.
    """
    started = time.monotonic()
    options = options or Options()
    clock = clock or Clock(least(options.time_limit_s, options.total_limit_s))
    whole = complete(read_point)
    passes = passes_over(whole, options.seed, copied_passes)
    if passes is not None:
        part = None if clock.left is None else Clock(_OWN_SHARE * clock.left)
        once = solve(_as_surveyed(whole), options, known, clock=part, keep_back=keep_back)
        with at_stage(f"over {passes.words}", partial(_seen_over, once, passes)):
            return _solved_over(whole, passes, once, options, clock)
    posing = time.monotonic()
    parts = parts_of(whole.survey, whole.policy, options.tuning)
    clock, own = clock.less(keep_back * (time.monotonic() - posing)), None
    if is_own(whole.survey, whole.policy):
        half = Clock(None if clock.left is None else clock.left / 2)
        parts, own = with_own_powers(parts, whole.survey, whole.policy, half, options.seed)
    start = None if known is None else _known(parts, known, whole)
    found, method, at_root = _prove(parts, options, clock, start)
    if own is not None:
        more, own = over_boxes(own, parts, found.answer, clock)
        if more is not parts:
            parts = more
            found, method, at_root = _prove(parts, options, clock, found)
    problem, answer = found.part.problem, found.answer
    if own is not None:
        answer = own.bounding(answer)
    strategy, counts = finish(problem, answer)
    outcome = evaluate(whole.survey, whole.policy, strategy)
    compare_counts(counts, outcome, problem)
    seconds = time.monotonic() - started
    return Solution(whole, problem, answer, method, strategy, outcome, seconds, parts, at_root, own)


def _known(parts: Parts, known: Strategy, whole: ReadPoint) -> Found | None:
    """A strategy as the answer of a part that allows it."""
    for part in parts.parts:
        answer = answer_of(part.problem, known, whole.survey.tags)
        if answer is not None:
            return Found(part, answer)
    return None


def _as_surveyed(whole: ReadPoint) -> ReadPoint:
    """The read point with each pass counting once."""
    survey = whole.survey.each_once()
    policy = replace(whole.policy, aim="survey", conditions=InEachCondition())
    return replace(whole, survey=survey, policy=policy)


def _solved_over(
    whole: ReadPoint, passes: Passes, own: Solution, options: Options, clock: Clock
) -> Solution:
    """The best strategy over other passes than those surveyed, each once, from the best over these
    (over copies, a sample average approximation: Kleywegt, Shapiro and Homem-de-Mello, SIAM J.
    Optim. 12, 2002)."""
    started, survey, policy = time.monotonic(), whole.survey, whole.policy
    if passes.separate:
        weighed, strategy, over_all = weighed_best(
            passes, whole, _first(own), own.strategy, seed=options.seed, clock=clock
        )
        problem, answer, method = weighed.problem, weighed.answer, "search_and_model"
        parts, at_root = own.parts, own.at_root
    else:
        weighed, parts = None, over(own.parts, passes.sample)
        start = _known(parts, own.strategy, whole)
        found, method, at_root = _prove(parts, options, clock, start)
        problem, answer = found.part.problem, found.answer
        strategy, over_all = _replayed_over(passes, found, policy)
        if own.own is not None:  # powers by antenna were chosen over each pass once
            answer = answer.bounded((0.0, 0.0), 0.0)
    outcome = evaluate(survey, policy, strategy)
    seconds = own.seconds + time.monotonic() - started
    others = Over(passes, over_all, weighed, own)
    return Solution(
        *(whole, problem, answer, method, strategy, outcome, seconds, parts, at_root), over=others
    )


def _replayed_over(passes: Passes, found: Found, policy: Policy) -> tuple[Strategy, Outcome]:
    """What was found over other passes than those surveyed, and the evaluator's outcome of it."""
    problem = found.part.problem
    strategy, counts = finish(problem, found.answer)
    outcome = evaluate(passes.survey, policy, strategy)
    compare_counts(counts, outcome, problem, passes.conditions.times)
    return strategy, outcome


def _seen_over(own: Solution, passes: Passes, reached: Reached) -> Reached:
    """What a search over other passes says: losses a pass, beside those of the survey."""
    words = reached.stage
    if reached.loss is not None and reached.bound is not None:
        count = float(passes.conditions.times.sum())
        loss, bound = reached.loss / count, reached.bound / count
        found = f"{loss:.3g} a pass found, none below {bound:.3g}"
        words = ", ".join(one for one in (words, found) if one)
    return Reached(own.loss, own.bound, words)


def _first(own: Solution) -> list[Problem]:
    """The problems of its parts, that of the answer first."""
    others = [one.problem for one in own.parts.parts if one.problem is not own.problem]
    return [own.problem, *others]


def again_in(options: Options, deadline: Deadline) -> Callable[[ReadPoint], Again]:
    """What chooses again for a part of a read point; a pool of processes can be given it."""
    return partial(_in_time, options=options, deadline=deadline)


def _in_time(part: ReadPoint, options: Options, deadline: Deadline) -> Again:
    """The best strategy of a part of a read point, over few copies where the aim is "expected", and
    whether it is proven; None where the whole answer is due already. Ladders of own powers that no
    model proves are left alone: to rule them out takes longer than all else."""
    if deadline.passed():
        return None
    options = replace(options, tuning=replace(options.tuning, boxes_of_two=0, boxes_of_more=0))
    with watched_by(None):  # it is not the answer that is waited for
        clock, whole = Clock(options.time_limit_s), complete(part)
        if not is_own(whole.survey, whole.policy):
            passes = passes_over(whole, options.seed, PASSES_AGAIN)
            if passes is not None and not passes.separate:
                return _over_alone(whole, passes, options, clock)
        found = solve(part, options, clock=clock, copied_passes=PASSES_AGAIN)
    return found.strategy, found.proven


def _over_alone(
    whole: ReadPoint, passes: Passes, options: Options, clock: Clock
) -> tuple[Strategy, bool]:
    """The best strategy over other passes than those surveyed, and whether it is proven; not begun
    from the best over these, whose own proof takes as long."""
    once = _as_surveyed(whole)
    parts = parts_of(once.survey, once.policy, options.tuning, sample=passes.sample)
    found, _, _ = _prove(parts, options, clock, None)
    strategy, _ = _replayed_over(passes, found, whole.policy)
    return strategy, found.answer.proven


def _prove(
    parts: Parts, options: Options, clock: Clock, start: Found | None
) -> tuple[Found, str, int]:
    """The better answer and the higher bound of what the options ask for; of the parts, how many
    were done with at the root."""
    if len(parts.parts) > 1 and options.method != "model":
        chosen = choose_score(parts, clock.without_reserve(), start)
        return chosen.found, "search", chosen.at_root
    found = []
    for part in parts.parts:
        known = start.answer if start is not None and start.part is part else None
        answer, method = _prove_part(part.problem, options, clock, known)
        found.append((Found(part, answer), method))
    best, method = min(found, key=lambda one: one[0].key)
    if len(found) > 1:
        bound = min(one.answer.bound for one, _ in found)
        tied = [one.answer for one, _ in found if one.answer.key[:2] == best.answer.key[:2]]
        guarded = min(one.guarded_bound for one in tied)
        answer = replace(best.answer, bound=bound, guarded_bound=min(guarded, best.answer.key[2]))
        best = Found(best.part, answer)
    return best, method, 0


def _prove_part(
    problem: Problem, options: Options, clock: Clock, start: Answer | None
) -> tuple[Answer, str]:
    if options.method == "model":
        return prove_by_model(problem, clock, options.seed, start), "model"
    answer = search_in_time(problem, clock, start)
    late = clock.without_reserve().expired()
    if options.method == "search" or answer.proven or late or not pays(problem, clock):
        return answer, "search"
    return prove_by_model(problem, clock, options.seed, answer), "search_and_model"


def least(*limits: float | None) -> float | None:
    return min((limit for limit in limits if limit is not None), default=None)


def compare_counts(
    counts: Counts, outcome: Outcome, problem: Problem, times: Ints | None = None
) -> None:
    """The optimiser does not mark its own work: DisagreementError where the two differ.

    Pass p of the outcome counts `times[p]` times (None: each once).
    """
    missed, stray = outcome.missed, outcome.stray
    if times is not None:
        pairs = list(zip(times.tolist(), outcome.by_pass, strict=True))
        missed = sum(n * len(one.missed) for n, one in pairs)
        stray = sum(n * len(one.stray) for n, one in pairs)
    weights = problem.policy.loss
    loss = outcome.loss if times is None else weights.missed * missed + weights.stray * stray
    if (missed, stray) != (counts.missed, counts.stray) or abs(
        loss - problem.loss(counts)
    ) > _SAME_LOSS * max(1.0, loss):
        raise DisagreementError(
            f"the optimiser counts {counts.missed} missed and {counts.stray} stray, the evaluator "
            f"{missed} and {stray}, for the same strategy: please report this"
        )


def compare_guarded(counted: float, replayed: float) -> None:
    """Nor its guarded loss."""
    if abs(counted - replayed) > _SAME_LOSS * max(1.0, replayed):
        raise DisagreementError(
            f"the optimiser finds a guarded loss of {counted:g}, the evaluator of {replayed:g}, "
            "for the same strategy: please report this"
        )
