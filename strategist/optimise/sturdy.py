"""The sturdiest strategy that costs little: least guarded loss within an allowance on the loss.

The least loss may lie on a razor's edge, where a little drift undoes it. Sought is, among the
strategies that keep the hard limits, are better than silence, lose little more than the best
(`Loss.little`) and save more guarded loss than that, the one with the least guarded loss; of equal
ones the least loss, then the rest of the order of preference.

The search bounds loss and guarded loss together, over the passes as surveyed and the guarded ones
beside them: what is sought has a lower sum than the best. The allowance and the guarded loss found
so far are further caps, as the hard limits are.

Each part (see `scores`) is searched so, with the best of those before as a rival; most end where
their cutoffs, relaxed, leave no room for such a sum.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from strategist.optimise.archive import Best, Bound
from strategist.optimise.cells import Layout
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.goals import with_guarded
from strategist.optimise.kernel import Cells
from strategist.optimise.measures import Aim, Measure, measures, spacing
from strategist.optimise.node import Node
from strategist.optimise.outer import Found, likely, rival_in
from strategist.optimise.problem import Answer, Counts, Problem, answer_at, value
from strategist.optimise.scores import Part, Parts
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

    found: Found | None
    bound: float


def sturdiest(parts: Parts, best: Found, clock: Clock, allowance: float | None = None) -> Sturdy:
    """Search beside a best strategy that keeps the hard limits and is better than silence, as long
    as the clock allows. What is sought may lose `allowance` more (None: `Loss.little`).

    Where the mask chains are too many to list, those of fewer masks are searched and no bound is
    known; where levels are very many, some of them, with the score of the best.
    """
    if best.answer.key[2] == 0 or clock.expired():
        return Sturdy(None, 0.0)  # nothing is sturdier than no loss under the guards
    if is_wide(best.part.problem, clock):
        return _on_few_levels(best, clock, allowance)
    wanted = _Wanted.beside(best, allowance)
    first = held = wanted.ranked(best)
    left, others = list[Bound](), [part for part in parts.parts if part is not best.part]
    if len(others) > 1:
        others.sort(key=lambda part: Found(part, likely(part.problem)).key)
    for number, part in enumerate((best.part, *others)):
        own = clock
        if others and clock.left is not None:
            own = Clock(clock.left / min(2, len(others) + 1 - number), now=clock.now)
        run = _Beside(part, best.answer, held, wanted, own)
        still_open = run.find()
        left += [] if still_open is None else [still_open]
        held = run.held
    found = None if held is first else wanted.found(held)
    least = best.answer.key[2] if found is None else found.answer.key[2]
    worth = (one[1] for one in left if one[1] <= wanted.mark(held.answer))
    return Sturdy(found, min([least, *map(wanted.guarded_from, worth)]))


def _on_few_levels(best: Found, clock: Clock, allowance: float | None) -> Sturdy:
    """Among ladders of some levels, those near the steps of the best with them; no bound."""
    problem, answer = best.part.problem, best.answer
    keep = few_levels(problem, answer.levels)
    part = replace(best.part, problem=on_levels(problem, keep))
    steps = np.searchsorted(keep, answer.levels).tolist()
    known = answer_at(part.problem, answer.chain, answer.cutoff, tuple(steps))
    few = Found(part, replace(known, effort=answer.effort))
    found = sturdiest(Parts((part,), 1, 0), few, clock, allowance).found
    if found is None:
        return Sturdy(None, 0.0)
    levels = tuple(keep[list(found.answer.levels)].tolist())
    at_all = answer_at(problem, found.answer.chain, found.answer.cutoff, levels)
    return Sturdy(Found(best.part, at_all), 0.0)


@dataclass(frozen=True)
class _Wanted:
    """What is wanted beside the best strategy, the same for all parts.

    The loss is at most `cap`, loss and guarded loss together less than `sum_below`, that is at most
    `most`. Strategies are ranked by guarded loss, then loss: `times` the one and the other, added
    up, where no more than `cap` less the best loss lies between two losses.
    """

    cap: float
    sum_below: float
    most: float
    times: int

    @staticmethod
    def beside(best: Found, allowance: float | None) -> _Wanted:
        problem, (_, least, guarded, *_) = best.part.problem, best.answer.key
        step = spacing(measures(problem)[0]) or _FINEST
        more = problem.policy.loss.little(least) if allowance is None else allowance
        cap = value(least + more)
        if problem.silence[0] == 0:
            cap = min(cap, value(problem.silence[1] - step))
        times = int(min(more / step, _LARGEST / max(1.0, guarded))) + 1
        return _Wanted(cap, value(least + guarded), value(least + guarded - step), times)

    def rank(self, loss: float, guarded: float) -> float:
        return value(self.times * guarded + loss)

    def mark(self, held: Answer) -> float:
        """The largest sum with the rank of the best so far is that with the largest loss."""
        largest = held.key[1] / self.times + self.cap * (1 - 1 / self.times)
        return min(self.most, value(largest))

    def guarded_from(self, total: float) -> float:
        """The least guarded loss behind a sum of both."""
        return max(0.0, value(total - self.cap))

    def ranked(self, best: Found) -> Found:
        """A strategy with the key that `_Within` compares by: what it is over, rank, loss."""
        _, loss, guarded, *work = best.answer.key
        key = (0.0, self.rank(loss, guarded), loss, *work)
        return Found(best.part, replace(best.answer, key=key))

    def found(self, held: Found) -> Found:
        """The other way round."""
        _, rank, loss, *work = held.answer.key
        key = (0.0, loss, value((rank - loss) / self.times), *work)
        return Found(held.part, replace(held.answer, key=key))


class _Goal:
    """Loss and guarded loss together."""

    limited = True
    excess = 0.0

    def __init__(self, problem: Problem, wanted: _Wanted) -> None:
        self.measure = measures(problem)[0]
        self.wanted = wanted
        self.layout = Layout(with_guarded(problem, 1))
        turned = replace(problem, profile=problem.guarded, guarded=problem.profile)
        self.ranked = Layout(with_guarded(turned, wanted.times))

    def aim(self, best: Answer | None) -> Aim:
        return Aim(self.measure, 0.0, excess=False, step=spacing(self.measure))

    def mark(self, best: Answer) -> tuple[float, ...]:
        return 0.0, self.wanted.mark(best), np.inf


class _Within(Best):
    """The incumbent of `_Goal`; keys begin with what is exceeded, rank and loss."""

    goal: _Goal

    @property
    def caps(self) -> tuple[Measure, ...]:
        """The hard limits, the allowance, and the rank of the best so far."""
        top = np.inf if self.answer is None else self.answer.key[1]
        return *self.limits, Measure(1, 1, self.goal.wanted.cap), Measure(1, 1, top)

    def tables(self, node: Node) -> Iterator[Cells]:
        yield from super().tables(node)
        of_node, measure = (node.cutoff, node.levels), self.goal.measure
        for layout in (self.layout, self.goal.ranked):
            yield layout.cells(*of_node, measure, node.highest)

    def rank(self, counts: Counts, guarded: float) -> tuple[float, float, float]:
        """By how much it is not what is sought, its rank, its loss."""
        loss, wanted = self.problem.loss(counts), self.goal.wanted
        over = self.problem.excess(counts) + max(0.0, loss - wanted.cap)
        if over > 0:
            return over, np.inf, loss
        over = 0.0 if value(loss + guarded) < wanted.sum_below else 1.0
        return over, wanted.rank(loss, guarded), loss


class _Beside(BestFirst):
    """The search of a part beside the best strategy, towards what beats the one `held`."""

    best: _Within

    def __init__(
        self, part: Part, beside: Answer, held: Found, wanted: _Wanted, clock: Clock
    ) -> None:
        tree = Tree(part.problem, clock)
        self._part, self._beside, self._held = part, beside, held
        self._given = rival_in(part, held)
        self._most = max(tree.tuning.sturdy_nodes, 2 * dict(beside.effort).get("branches", 0))
        goal = _Goal(part.problem, wanted)
        super().__init__(tree, _Within(tree.layout, goal, self._given))

    @property
    def held(self) -> Found:
        """The sturdiest so far, of any part, by the key of `_Within`."""
        answer = self.best.answer
        assert answer is not None
        return self._held if answer is self._given else Found(self._part, answer)

    def find(self) -> Bound | None:
        """Seek a sturdier one; a bound of what stays open."""
        try:
            self.longest = self.tree.reach(self.tree.problem.slots)
            self._begin()
            self.prove()
            return self.left()
        except OutOfTimeError:
            return self.floor

    def _begin(self) -> None:
        """Where chains are few, one node of all cutoffs; else the cutoffs that bounds leave, in
        which the best's own chain and none are tried at once."""
        tree, chain = self.tree, self._beside.chain
        cutoffs = self.cutoffs = np.arange(len(tree.problem.thresholds))
        if tree.are_few(self.longest):
            whole = self.node(0, len(cutoffs) - 1)
            whole.raise_bound(self.best.target(whole), 1)
            self.push(0, whole)
            self.floor = self.best.bound(whole)
            return
        nodes = self.screen(cutoffs)
        self.floor = min(map(self.best.bound, nodes), default=self.floor)
        self._most += tree.nodes
        likely = [tree.chains.listed(0)]
        if len(chain.literals) <= tree.problem.slots:
            likely.insert(0, of_chain(tree.problem, chain, tree.chains.table))
        for node in nodes:
            for one in likely:
                tree.ladders(one, 0, node, self.best)
            self.push(1, node)
            if tree.clock.expired():
                raise OutOfTimeError

    def work_on(self, node: Node, stage: int) -> None:
        tree = self.tree
        if not tree.are_few(self.longest) and (
            tree.nodes > self._most or tree.weighed > tree.tuning.sturdy_chains
        ):
            raise OutOfTimeError
        super().work_on(node, stage)
