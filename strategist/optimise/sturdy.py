"""The sturdiest strategy that costs little: least guarded loss within an allowance on the loss.

The least loss may lie on a razor's edge, where a little drift undoes it. Sought is, among the
strategies that keep the hard limits, are better than silence, lose little more than the best
(`Loss.little`) and save more guarded loss than that, the one with the least guarded loss; of equal
ones the least loss, then the rest of the order of preference.

The search bounds loss and guarded loss together, over the passes as surveyed and the guarded ones
beside them: what is sought has a lower sum than the best. The allowance and the guarded loss found
so far are further caps, as the hard limits are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from strategist.optimise.branch import Branch
from strategist.optimise.cells import Layout
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.goals import with_guarded
from strategist.optimise.kernel import Cells
from strategist.optimise.measures import Aim, Measure, measures, spacing
from strategist.optimise.problem import Answer, Counts, Problem, answer_at, value, walk
from strategist.optimise.search import Search
from strategist.optimise.selections import of_chain
from strategist.optimise.zoom import few_levels, is_wide, on_levels
from strategist.survey.records import Bools, Floats

__all__ = ["Sturdy", "sturdiest"]

_FINEST = 1e-6  # losses are compared to this
_LARGEST = 1e8  # a sum of losses that double precision still tells apart in six decimals
_CHAINS, _BRANCHES = 5_000, 200  # where more were weighed, or worked on and twice as many as for
# the proof, what is open stays open: the same each time


@dataclass(frozen=True)
class Sturdy:
    """What was found (None: no such strategy), with the key of an `Answer`.

    No strategy that is sought has a guarded loss below `bound`, which is that of the one found, or
    of the best where there is none, unless something was left open.
    """

    answer: Answer | None
    bound: float


def sturdiest(problem: Problem, best: Answer, clock: Clock) -> Sturdy:
    """Search beside a best strategy that keeps the hard limits and is better than silence, as long
    as the clock allows.

    Where the mask chains are too many to list, those of fewer masks are searched and no bound is
    known; where levels are very many, some of them.
    """
    if best.key[2] == 0 or clock.expired():
        return Sturdy(None, 0.0)  # nothing is sturdier than no loss under the guards
    if is_wide(problem, clock):
        return _on_few_levels(problem, best, clock)
    return _Beside(problem, best, clock).find()


def _on_few_levels(problem: Problem, best: Answer, clock: Clock) -> Sturdy:
    """Among ladders of some levels, those near the steps of the best with them; no bound."""
    keep = few_levels(problem, best.levels)
    part, steps = on_levels(problem, keep), np.searchsorted(keep, best.levels).tolist()
    known = answer_at(part, best.chain, best.cutoff, tuple(steps))
    found = _Beside(part, replace(known, effort=best.effort), clock).find().answer
    if found is None:
        return Sturdy(None, 0.0)
    levels = tuple(keep[list(found.levels)].tolist())
    return Sturdy(answer_at(problem, found.chain, found.cutoff, levels), 0.0)


class _Goal:
    """Loss and guarded loss together; those that sum up to no more than `most` are looked at.

    Strategies are ranked by guarded loss, then loss: `times` the one and the other, added up, where
    no more than `cap` less `least` lies between two losses.
    """

    limited = True
    excess = 0.0

    def __init__(self, problem: Problem, best: Answer) -> None:
        _, least, guarded = best.key[:3]
        self.measure = measures(problem)[0]
        self._step = spacing(self.measure)
        more, step = problem.policy.loss.little(least), self._step or _FINEST
        self.cap = value(least + more)
        if problem.silence[0] == 0:
            self.cap = min(self.cap, value(problem.silence[1] - step))
        self.sum_below = value(least + guarded)
        self.most = value(least + guarded - step)
        self.times = int(min(more / step, _LARGEST / max(1.0, guarded))) + 1
        self.layout = Layout(with_guarded(problem, 1))
        turned = replace(problem, profile=problem.guarded, guarded=problem.profile)
        self.ranked = Layout(with_guarded(turned, self.times))

    def rank(self, loss: float, guarded: float) -> float:
        return value(self.times * guarded + loss)

    def aim(self, best: Answer | None) -> Aim:
        return Aim(self.measure, 0.0, excess=False, step=self._step)

    def is_settled(self, best: Answer) -> bool:
        return True

    def mark(self, best: Answer) -> tuple[float, ...]:
        """The largest sum with the rank of the best so far is that with the largest loss."""
        largest = best.key[1] / self.times + self.cap * (1 - 1 / self.times)
        return 0.0, min(self.most, value(largest)), np.inf


class _Beside(Search):
    """The search of `_Goal`; keys begin with what is exceeded, rank and loss."""

    goal: _Goal

    def __init__(self, problem: Problem, best: Answer, clock: Clock) -> None:
        super().__init__(problem, clock)
        self.goal = _Goal(problem, best)
        _, least, guarded, *rest = best.key
        self._given = replace(best, key=(0.0, self.goal.rank(least, guarded), least, *rest))
        self._guarded = guarded
        self._most = max(_BRANCHES, 2 * dict(best.effort).get("branches", 0))
        self.best, self.mark = self._given, self.goal.mark(self._given)

    def find(self) -> Sturdy:
        try:
            self.longest = self._reach(self.problem.slots)
            self._begin()
            self.prove()
            left = [at for at, _ in (*self._stuck, *self._waiting)]
            still_open = self._open(min(left, default=None))
        except OutOfTimeError:
            still_open = self.floor
        assert self.best is not None
        loss, found = self.best.key[2], self.best is not self._given
        guarded = value((self.best.key[1] - loss) / self.goal.times) if found else self._guarded
        bound = guarded
        if still_open is not None:
            bound = min(bound, max(0.0, value(still_open[1] - self.goal.cap)))
        if not found:
            return Sturdy(None, bound)
        return Sturdy(replace(self.best, key=(0.0, loss, guarded, *self.best.key[3:])), bound)

    def _begin(self) -> None:
        """A bound of each cutoff; in those that are left, where chains are many, the best's own
        chain and none are tried at once."""
        own = of_chain(self.problem, self._given.chain, self.chains.table)
        likely = () if self._are_few else (own, self.chains.listed(0))
        for cutoff in range(len(self.problem.thresholds)):
            branch = self._branch(cutoff)
            branch.raise_bound(self._target(branch))
            if branch.bound <= self._target(branch):
                for chain in likely:
                    self._ladders(chain, 0, branch)
                self._push(1, branch)
            if self.clock.expired():
                raise OutOfTimeError

    def _work_on(self, branch: Branch, stage: int) -> None:
        if self.branches > self._most or (not self._are_few and self.weighed > _CHAINS):
            raise OutOfTimeError
        super()._work_on(branch, stage)

    def excess(self, bounds: Floats) -> Floats:
        """What the hard limits, the allowance and the rank of the best so far are exceeded by."""
        assert self.best is not None
        tops = (Measure(1, 1, self.goal.cap), Measure(1, 1, self.best.key[1]))
        over = np.zeros(bounds.shape[1:])
        for measure, bound in zip((*self.caps, *tops), bounds[1:], strict=True):
            over += np.maximum(0.0, bound / measure.per - measure.cap)
        excess: Floats = np.round(over, 6)
        return excess

    def _tables(self, branch: Branch) -> Iterator[Cells]:
        yield from super()._tables(branch)
        for layout in (self.layout, self.goal.ranked):
            yield branch.cells_by(layout, self.goal.measure)

    def _replayer(
        self, cutoff: int, through: Bools
    ) -> Callable[[tuple[int, ...]], tuple[float, float, float, Counts]]:
        """What a ladder comes to: by how much it is not what is sought, its rank, its loss."""
        problem, guarded = self.problem, self.problem.under_guard()
        rows = through[problem.profile.row_class][:, None]
        accepted, drifted = (one.accepted(cutoff) & rows for one in (problem, guarded))

        def replay(ladder: tuple[int, ...]) -> tuple[float, float, float, Counts]:
            counts = walk(problem, accepted, ladder)
            loss = problem.loss(counts)
            over = problem.excess(counts) + max(0.0, loss - self.goal.cap)
            if over > 0:
                return over, np.inf, loss, counts
            under_guard = problem.loss(walk(guarded, drifted, ladder))
            over = 0.0 if value(loss + under_guard) < self.goal.sum_below else 1.0
            return over, self.goal.rank(loss, under_guard), loss, counts

        return replay
