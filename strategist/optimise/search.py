"""The exact search: cutoffs and steps are branched on, chains and ladders pruned by bounds.

A node is a cutoff, with some levels settled as steps of the ladder; at first one node stands for
all cutoffs, relaxed, and is halved as long as its bound leaves room. Nodes are taken by least
bound; what cannot beat the best strategy so far is dropped. In those that stay a bound linear in
the classes weighs every chain with one matrix product, a bound for whole ladders those that are
left, and ladders are replayed last. What is cut off is never better, so the end is a proof.

There are two goals, one after the other: the least excess and loss; then, among the strategies
that have it, the least guarded loss and what else tells equal ones apart.

Where chains are many, they are taken by length towards the first goal, stage after stage, over the
same nodes: what chains of up to k masks come to is known before longer ones are listed. Bounds
of nodes know nothing of chains, so they hold for any length. Where the chains of a stage are too
many to list, or to look at in a node that cannot be split, the node stays open with its bound;
the best strategy found is kept, and chains near it are tried one mask further.
"""

from __future__ import annotations

import heapq
import itertools
from functools import cached_property

import numpy as np

from strategist.optimise.archive import Best, Bound
from strategist.optimise.chains import Chains
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.goals import GuardedGoal, LossGoal
from strategist.optimise.node import Node
from strategist.optimise.problem import Answer, Problem, value
from strategist.optimise.progress import tell
from strategist.optimise.selections import Selections, grow, of_chain
from strategist.optimise.starts import Starts
from strategist.optimise.tree import Tree
from strategist.survey.records import Ints

__all__ = ["BestFirst", "Search", "least_loss", "search"]


def search(problem: Problem, clock: Clock, known: Answer | None = None) -> Answer:
    """The most preferred strategy of the problem, proven unless the clock runs out or chains are
    too many to list; then it is the best one found, with the true bound.

    `known` is a strategy of the problem to begin with: the answer is none that is worse.
    """
    run = Search(problem, clock.without_reserve(), known, clock.reserve)
    still_open = run.find_loss()
    return run.answer(still_open, 0.0 if still_open else run.find_guarded())


def least_loss(problem: Problem, clock: Clock, known: Answer | None = None) -> Answer:
    """A strategy of least excess and loss, proven unless the clock runs out; of those that have it
    any, so it says nothing of the guarded loss."""
    run = Search(problem, clock, known)
    return run.answer(run.find_loss(), 0.0)


class BestFirst:
    """Nodes of a tree, worked off by least bound, towards one incumbent.

    One of several `cutoffs` is halved. Three stages each of the others: its bound is raised, it is
    tightened, it is explored or split; where chains are few they are all looked at, which spares
    some halves as well. `floor`: no strategy that was not looked at is below it.
    """

    def __init__(self, tree: Tree, best: Best) -> None:
        self.tree = tree
        self.best = best
        self.floor: Bound = (0.0, 0.0)
        self.longest = tree.problem.slots  # chains of more masks wait for a later round
        self.heap: list[tuple[Bound, tuple[int, int], int, Node]] = []
        self.waiting: list[tuple[Bound, Node]] = []  # looked at as far as this round goes
        self.stuck: list[tuple[Bound, Node]] = []  # can neither be listed nor split
        self.tied: list[Node] = []  # may hold strategies that are as good as the best
        self.cutoffs = tree.problem.outcomes  # that nodes are halved by
        self.likely: list[Selections] = []  # what is tried first under a cutoff
        self._order = itertools.count()
        self._begun: set[tuple[int, int]] = set()  # cutoffs with nodes made anew for the loss

    def node(self, cutoff: int, highest: int | None = None) -> Node:
        """All ladders under a cutoff, or all up to another."""
        node = self.tree.node(cutoff, self.best.aim(), self.best.goal.layout)
        node.highest = cutoff if highest is None else highest
        return node

    def push(self, stage: int, node: Node) -> None:
        self._push(self.best.bound(node), stage, node)

    def _push(self, bound: Bound, stage: int, node: Node) -> None:
        """Of equal bounds the node of weaker cutoffs comes first, then the earlier one."""
        order = node.cutoff, next(self._order)
        heapq.heappush(self.heap, (bound, order, stage, node))

    def resume(self, longest: int) -> None:
        """Take up, for chains of up to so many masks, what waited, and what was stuck with another
        aim."""
        self.longest, aim = longest, self.best.aim()
        again = [one for one in self.stuck if one[1].aim != aim]
        self.stuck = [one for one in self.stuck if one[1].aim == aim]
        for bound, node in (*self.waiting, *again):
            self._push(bound, 2 if node.tight else 0, node)
        self.waiting = []

    def raise_floor(self, bound: Bound) -> None:
        """Nothing open is below a bound, in this round or a later one."""
        aside = min((at for at, _ in (*self.waiting, *self.stuck)), default=bound)
        self.floor = max(self.floor, min(bound, aside))

    def left(self, *, waiting: bool = True) -> Bound | None:
        """The least bound of what stays open; None where nothing does."""
        aside = (*self.stuck, *self.waiting) if waiting else self.stuck
        return min((at for at, _ in aside), default=None)

    def screen(self, cutoffs: Ints) -> list[Node]:
        """A node for each of the cutoffs under which a strategy may be as good as the best: found
        by halves of their range, relaxed. Raises OutOfTimeError, with a floor for them all."""
        whole, left = self.node(int(cutoffs[0]), int(cutoffs[-1])), list[Node]()
        heap = [(self.best.bound(whole), 0, whole)]
        order = itertools.count(1)
        while heap:
            bound, _, node = heapq.heappop(heap)
            if self.best.hopeless(*bound):
                break
            self.tree.nodes += 1
            node.raise_bound(self.best.target(node))
            bound = self.best.bound(node)
            if self.best.hopeless(*bound):
                continue
            if self.tree.clock.expired():
                others = (*map(self.best.bound, left), *(one[0] for one in heap))
                self.floor = max(self.floor, min([bound, *others]))
                raise OutOfTimeError
            if node.cutoff == node.highest:
                left.append(node)
                continue
            for half in node.halves(cutoffs):
                heapq.heappush(heap, (self.best.bound(half), next(order), half))
        return left

    def prove(self) -> None:
        """Work off the nodes, as far as this round goes. Raises OutOfTimeError."""
        while self.heap:
            bound, _, stage, node = heapq.heappop(self.heap)
            if self.best.hopeless(*bound):
                self.heap = []
                return
            self.raise_floor(bound)
            self._tell()
            self.tree.clock.check()
            if self.best.hopeless(*bound, 0, float(node.cutoff > 0), 1):
                self.tied.append(node)
            else:
                self.tree.nodes += 1
                self.work_on(node, stage)

    def _tell(self) -> None:
        """What is known of the loss; while the hard limits are exceeded, losses say nothing."""
        answer = self.best.answer
        if answer is not None and answer.key[0] == 0 and isinstance(self.best.goal, LossGoal):
            tell(answer.key[1], min(self.floor[1], answer.key[1]))

    def work_on(self, node: Node, stage: int) -> None:
        """Take a node one stage further."""
        if node.aim != self.best.aim():
            self.begin_anew(node)
            return
        target, several = self.best.target(node), node.cutoff < node.highest
        few = self.tree.are_few(self.longest)
        if stage == 0 and node.done < 0 and not several and not few:
            self._try(node)
        if node.done >= self.longest:
            self._looked_at(node)  # a bound is raised once there are chains to look at
        elif few:
            self.tree.look_at_all(node, self.best, self.longest)
            if several and any(map(len, node.even)):
                self.halve(node)
            else:
                self._looked_at(node)
        elif several:
            self.halve(node)
        elif stage == 0:
            node.raise_bound(target)
            self.push(1, node)
        elif stage == 1:
            node.tighten(target)
            node.tight = True
            self.push(2, node)
        elif self.tree.explore(node, self.best, self.longest):
            node.even = []  # longer chains were not weighed one and all
            self._looked_at(node)
        else:
            self._split(node)

    def begin_anew(self, node: Node) -> None:
        """All ladders under its cutoffs again, once, for the aim that is now."""
        cutoffs = node.cutoff, node.highest
        if cutoffs not in self._begun:
            self._begun.add(cutoffs)
            self.push(0, self.node(*cutoffs))

    def halve(self, node: Node) -> None:
        """Two nodes for one of several cutoffs, with their first bounds."""
        for half in node.halves(self.cutoffs):
            half.raise_bound(self.best.target(node), 1)
            self.push(0, half)

    def _try(self, node: Node) -> None:
        """What is likely under a cutoff, and whether its chain without masks is worth a look."""
        for one in self.likely:
            least = self.tree.ladders(one, 0, node, self.best, likely=True)
            bound = (self.best.goal.excess, value(least))
            if not one.masks and not node.even and self.best.hopeless(*bound, 0):
                worse = self.best.hopeless(*bound)  # else as good as the best
                node.done, node.even = 0, [one.at(np.arange(0 if worse else 1))]

    def _split(self, node: Node) -> None:
        parts = node.split()
        if not parts:
            self.stuck.append((self.best.bound(node), node))
        for part in parts:
            part.raise_bound(self.best.target(node), 1)
            self.push(1, part)

    def _looked_at(self, node: Node) -> None:
        """Done with a node for this round; strategies as good as the best may be in it."""
        node.done = self.longest
        if self.longest < self.tree.problem.slots:
            self.waiting.append((self.best.bound(node), node))
        else:
            self.tied.append(node)


class Search:
    """A solve: the least excess and loss, by length of chain; then the least guarded loss."""

    def __init__(
        self,
        problem: Problem,
        clock: Clock,
        known: Answer | None = None,
        reserve: float = 0.0,
        chains: Chains | None = None,
    ) -> None:
        self.problem = problem
        self.reserve = reserve  # seconds beside the clock's for what is tried without proof
        self.tree = Tree(problem, clock, chains)
        self.best = Best(self.tree.layout, LossGoal(problem, self.tree.layout), known)
        self.run = BestFirst(self.tree, self.best)
        self.cutoffs: list[int] | None = None  # that are left to look at; None: all
        self.seeks = True  # whether to look for good chains before the proof does
        self._climbed: set[tuple[Answer, int]] = set()  # what was climbed from, and how far
        self._sought: list[Answer] = []  # the best of beams of up to so many masks
        self._found: Answer | None = None  # the best of all beams, also of one that was left

    def find_loss(self) -> Bound | None:
        """Reach the first goal; else: a bound of what is still open."""
        try:
            self.start()
            self._try_ahead()
            still_open = self._prove_by_length()
        except OutOfTimeError:
            still_open = self.run.floor
        self.best.know(self._found)
        return self._open(still_open)

    def screen(self) -> Bound | None:
        """Find the cutoffs under which a strategy may be as good as the best; a bound of these,
        None where there are none."""
        try:
            left = self.run.screen(self.problem.outcomes)
        except OutOfTimeError:
            return self.run.floor
        self.cutoffs = [node.cutoff for node in left]
        return min(map(self.best.bound, left), default=None)

    def _open(self, bound: Bound | None) -> Bound | None:
        """A bound of what is open, where that could beat the best."""
        return None if bound is None or self.best.hopeless(*bound, 0) else bound

    def _prove_by_length(self) -> Bound | None:
        """Chains of no mask, of one, and so on; a bound of what could not be looked at.

        What is done up to a length depends on nothing longer: with one slot more it is the same.
        """
        for longest in range(self.problem.slots + 1):
            reached = self.tree.reach(longest)
            if self.seeks:
                self.best.know(self._seek(max(longest, self._light)))
            self._climb(longest)
            self.run.resume(longest)
            if reached < longest:
                return self._raise_floor()
            self.run.prove()
        return self.run.left(waiting=False)

    @cached_property
    def _light(self) -> int:
        """The most masks of chains that are not many to look at; beams of so many come first."""
        return max(n for n in range(self.problem.slots + 1) if n < 2 or not self._are_many(n))

    def _are_many(self, masks: int) -> bool:
        """Whether the chains of so many masks are many to look at, whatever the slots."""
        return (
            2.0 ** (masks - 1) * float(len(self.tree.chains.table)) ** masks
            > self.problem.tuning.light
        )

    def start(self) -> None:
        """A strategy without masks to begin with, found whatever the clock says, and one node of
        all cutoffs."""
        run, cutoffs = self.run, sorted(self.cutoffs or self.problem.outcomes.tolist())
        run.cutoffs, run.likely = np.array(cutoffs), [self.tree.chains.listed(0)]
        if self.best.empty:
            likely = run.node(self._outcome(self._starts.unmasked()))
            self.tree.ladders(run.likely[0], 0, likely, self.best, likely=True)
        self.tree.clock.check()
        whole = run.node(cutoffs[0], cutoffs[-1])
        whole.raise_bound(self.best.target(whole), 1)
        run.push(0, whole)
        run.floor = run.heap[0][0]

    def _try_ahead(self) -> None:
        """Beams of every length, by length, in a time of their own."""
        assert self.best.answer is not None
        self._sought, tree = [self.best.answer], self.tree
        if not self.reserve:
            return
        proof = tree.clock
        with proof.stopped():
            tree.set_clock(Clock(self.reserve, now=proof.now))
            try:
                self._seek(self.problem.slots)
            except OutOfTimeError:
                pass
            finally:
                tree.set_clock(proof)

    @cached_property
    def _starts(self) -> Starts:
        return Starts(self.problem, self.tree.chains)

    def _seek(self, masks: int) -> Answer:
        """The best of the beams of up to so many masks, climbed from.

        It depends on nothing that the proof has found, so it is the same whenever it is asked for.
        """
        best = self.best
        while len(self._sought) <= masks:
            proven, longest = best.answer, len(self._sought)
            best.set(self._sought[-1])
            try:
                for selections, cutoff in self._starts.promising(longest):
                    self.tree.look(selections, self.run.node(cutoff), best)
                self._climb(longest)
                assert best.answer is not None
                self._sought.append(best.answer)
            finally:
                best.know(self._found)
                self._found = best.answer
                best.set(proven)
        return self._sought[masks]

    def _climb(self, longest: int) -> None:
        """Where chains are many: try what is near the best strategy, one mask more, or one in place
        of another, up to a number of masks."""
        if not self._are_many(longest):
            return
        table, clock = self.tree.chains.table, self.tree.clock
        while (self.best.answer, longest) not in self._climbed:
            before = self.best.answer
            assert before is not None
            kept = before.chain.literals
            near = [before.chain, *(before.chain.without(i) for i in range(len(kept)))]
            node = self.run.node(self.problem.alike(self._outcome(before.cutoff))[-1])
            for chain in near:
                if len(chain.literals) < longest:
                    base = of_chain(self.problem, chain, table)
                    more = grow(base, base.words, table, clock)
                    assert more is not None
                    self.tree.look(more, node, self.best)
            self._climbed.add((before, longest))

    def _outcome(self, cutoff: int) -> int:
        """The cutoff that stands for those with the same outcome in the survey."""
        outcomes = self.problem.outcomes
        return int(outcomes[np.searchsorted(outcomes, cutoff)])

    def _raise_floor(self) -> Bound | None:
        """Split nodes whose chains are not listed as long as that raises the least bound."""
        run, best = self.run, self.best
        while run.heap:
            bound, _, _, node = heapq.heappop(run.heap)
            lowest = min([bound, *(at for at, _ in run.stuck)])
            run.raise_floor(lowest)
            if best.hopeless(*lowest, 0):
                run.tied += [node, *(one[-1] for one in run.heap), *(one for _, one in run.stuck)]
            if best.hopeless(*lowest, 0) or lowest < bound:
                return lowest
            self.tree.clock.check()
            self.tree.nodes += 1
            if node.aim != best.aim():
                run.begin_anew(node)
                continue
            if node.cutoff < node.highest:
                run.halve(node)
                continue
            parts = node.split()
            if not parts:
                return bound
            for part in parts:
                part.tighten(best.target(node))
                run.push(2, part)
        return run.left(waiting=False)

    def find_guarded(self) -> float | None:
        """Reach the second goal, once the first is proven; else: a bound of what is still open."""
        known, tree, tied = self.best.answer, self.tree, self.run.tied
        assert known is not None
        goal = GuardedGoal(self.problem, known)
        self.best = Best(tree.layout, goal, known)
        run = self.run = BestFirst(tree, self.best)
        run.floor = (goal.excess, 0.0)
        run.cutoffs = np.arange(len(self.problem.thresholds))
        run.likely = [of_chain(self.problem, known.chain, tree.chains.table)]
        try:
            run.longest = tree.reach(self.problem.slots)
            for one in tied:
                weighed = len(one.even) > run.longest and not any(map(len, one.even))
                if weighed or (not one.aim.excess and one.bound > known.key[1]):
                    continue
                node = goal.node(one)
                node.raise_bound(self.best.target(node), 1)
                run.push(0, node)
            run.prove()
            still_open = self._open(run.left())
        except OutOfTimeError:
            still_open = run.floor
        return None if still_open is None else goal.guarded(still_open[1])

    def answer(self, still_open: Bound | None, guarded_open: float | None) -> Answer:
        """The best with its bounds; what is open bounds what was not looked at (None: nothing)."""
        assert self.best.answer is not None  # the first pair is looked at whatever the clock says
        return self.best.answer.bounded(still_open, guarded_open, **self.tree.effort)
