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

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from strategist.optimise.archive import Best
from strategist.optimise.cells import Layout
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.goals import with_guarded
from strategist.optimise.kernel import Cells
from strategist.optimise.measures import Aim, Measure, measures, spacing
from strategist.optimise.node import Node
from strategist.optimise.problem import Answer, Counts, Problem, answer_at, value
from strategist.optimise.search import BestFirst
from strategist.optimise.selections import of_chain
from strategist.optimise.tree import Tree
from strategist.optimise.zoom import few_levels, is_wide, on_levels

__all__ = ["Sturdy", "sturdiest"]

_FINEST = 1e-6  # losses are compared to this
_LARGEST = 1e8  # a sum of losses that double precision still tells apart in six decimals


@dataclass(frozen=True)
class Sturdy:
    """What was found (None: no such strategy), with the key of an `Answer`.

    No strategy that is sought has a guarded loss below `bound`, which is that of the one found, or
    of the best where there is none, unless something was left open.
    """

    answer: Answer | None
    bound: float


def sturdiest(
    problem: Problem, best: Answer, clock: Clock, allowance: float | None = None
) -> Sturdy:
    """Search beside a best strategy that keeps the hard limits and is better than silence, as long
    as the clock allows. What is sought may lose `allowance` more (None: `Loss.little`).

    Where the mask chains are too many to list, those of fewer masks are searched and no bound is
    known; where levels are very many, some of them.
    """
    if best.key[2] == 0 or clock.expired():
        return Sturdy(None, 0.0)  # nothing is sturdier than no loss under the guards
    if is_wide(problem, clock):
        return _on_few_levels(problem, best, clock, allowance)
    return _Beside(problem, best, clock, allowance).find()


def _on_few_levels(problem: Problem, best: Answer, clock: Clock, allowance: float | None) -> Sturdy:
    """Among ladders of some levels, those near the steps of the best with them; no bound."""
    keep = few_levels(problem, best.levels)
    part, steps = on_levels(problem, keep), np.searchsorted(keep, best.levels).tolist()
    known = answer_at(part, best.chain, best.cutoff, tuple(steps))
    found = _Beside(part, replace(known, effort=best.effort), clock, allowance).find().answer
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

    def __init__(self, problem: Problem, best: Answer, allowance: float | None) -> None:
        _, least, guarded = best.key[:3]
        self.measure = measures(problem)[0]
        self._step = spacing(self.measure)
        more = problem.policy.loss.little(least) if allowance is None else allowance
        step = self._step or _FINEST
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

    def mark(self, best: Answer) -> tuple[float, ...]:
        """The largest sum with the rank of the best so far is that with the largest loss."""
        largest = best.key[1] / self.times + self.cap * (1 - 1 / self.times)
        return 0.0, min(self.most, value(largest)), np.inf


class _Within(Best):
    """The incumbent of `_Goal`; keys begin with what is exceeded, rank and loss."""

    goal: _Goal

    @property
    def caps(self) -> tuple[Measure, ...]:
        """The hard limits, the allowance, and the rank of the best so far."""
        top = np.inf if self.answer is None else self.answer.key[1]
        return *self.limits, Measure(1, 1, self.goal.cap), Measure(1, 1, top)

    def tables(self, node: Node) -> Iterator[Cells]:
        yield from super().tables(node)
        for layout in (self.layout, self.goal.ranked):
            yield layout.cells(node.cutoff, node.levels, self.goal.measure)

    def rank(self, counts: Counts, guarded: float) -> tuple[float, float, float]:
        """By how much it is not what is sought, its rank, its loss."""
        loss = self.problem.loss(counts)
        over = self.problem.excess(counts) + max(0.0, loss - self.goal.cap)
        if over > 0:
            return over, np.inf, loss
        over = 0.0 if value(loss + guarded) < self.goal.sum_below else 1.0
        return over, self.goal.rank(loss, guarded), loss


class _Beside(BestFirst):
    """The search beside a best strategy."""

    best: _Within

    def __init__(
        self, problem: Problem, best: Answer, clock: Clock, allowance: float | None
    ) -> None:
        tree, goal = Tree(problem, clock), _Goal(problem, best, allowance)
        _, least, guarded, *rest = best.key
        self._given = replace(best, key=(0.0, goal.rank(least, guarded), least, *rest))
        self._guarded = guarded
        self._most = max(problem.tuning.sturdy_nodes, 2 * dict(best.effort).get("branches", 0))
        super().__init__(tree, _Within(tree.layout, goal, self._given))

    def find(self) -> Sturdy:
        goal = self.best.goal
        try:
            self.longest = self.tree.reach(self.tree.problem.slots)
            self._begin()
            self.prove()
            still_open = self.left()
        except OutOfTimeError:
            still_open = self.floor
        if still_open is not None and self.best.hopeless(*still_open, 0):
            still_open = None
        answer = self.best.answer
        assert answer is not None
        loss, found = answer.key[2], answer is not self._given
        guarded = value((answer.key[1] - loss) / goal.times) if found else self._guarded
        bound = guarded
        if still_open is not None:
            bound = min(bound, max(0.0, value(still_open[1] - goal.cap)))
        if not found:
            return Sturdy(None, bound)
        return Sturdy(replace(answer, key=(0.0, loss, guarded, *answer.key[3:])), bound)

    def _begin(self) -> None:
        """A bound of each cutoff; in those that are left, where chains are many, the best's own
        chain and none are tried at once."""
        tree, few = self.tree, self.tree.are_few(self.longest)
        own = of_chain(tree.problem, self._given.chain, tree.chains.table)
        likely = () if few else (own, tree.chains.listed(0))
        for cutoff in range(len(tree.problem.thresholds)):
            node = self.node(cutoff)
            node.raise_bound(self.best.target(node))
            if node.bound <= self.best.target(node):
                for chain in likely:
                    tree.ladders(chain, 0, node, self.best)
                self.push(1, node)
            if tree.clock.expired():
                raise OutOfTimeError

    def work_on(self, node: Node, stage: int) -> None:
        many = (
            not self.tree.are_few(self.longest)
            and self.tree.weighed > self.tree.tuning.sturdy_chains
        )
        if self.tree.nodes > self._most or many:
            raise OutOfTimeError
        super().work_on(node, stage)
