"""What is still wanted of a search: the answers found so far, and the room that they leave.

An archive answers three questions of the tree. `limit(node, masks)`: above which value of the
node's objective is nothing wanted? `room(*work)`: what may bounds by each of its measures come to,
where the work to install begins so? `offer(replayed)`: here is what some ladders come to. `Best`
keeps the incumbent of a solve; `front.Front` the non-dominated points.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from strategist.optimise.cells import Layout
from strategist.optimise.clock import OutOfTimeError
from strategist.optimise.goals import Goal
from strategist.optimise.kernel import Cells
from strategist.optimise.measures import Aim, Measure, measures
from strategist.optimise.node import Node
from strategist.optimise.problem import Answer, Chain, Counts
from strategist.optimise.selections import Selections
from strategist.survey.records import Floats, Ints

__all__ = ["Archive", "Best", "Bound", "Replayed"]

Bound = tuple[float, float]  # excess, loss

_DIGITS = 6  # losses are compared to so many decimals
_LESS, _FINEST = 1.5e-6, 1e-6  # half a unit more than the last of them, and that
_SHIFT = 2**31  # tells (missed, stray) apart in one number


@dataclass(frozen=True)
class Replayed:
    """Some ladders of one selection under one cutoff, replayed.

    `ladders` are level indices from the top down, shape (ladders, steps), in the order of
    preference; `counts` what each misses and lets through, shape (ladders, 2). `work` is masks and
    cutoff or none, `bits` the summed length of the masks.
    """

    ladders: Ints
    counts: Ints
    work: tuple[float, float]
    bits: float
    cutoff: int
    chain: Callable[[], Chain]
    drifted: Callable[[Ints, int], Ints]  # as `counts`, of some ladders under the guards

    def points(self, some: Ints | None = None) -> list[tuple[Counts, Ints]]:
        """Each (missed, stray), and the places of the ladders that come to it; of `some` places,
        ascending (None: all)."""
        places = np.arange(len(self.counts)) if some is None else some
        if len(places) == 1:
            return [(Counts(*self.counts[places[0]].tolist()), places)]
        points, of_place = np.unique(self.counts[places] @ (1, _SHIFT), return_inverse=True)
        return [
            (Counts(point % _SHIFT, point // _SHIFT), places[of_place == number])
            for number, point in enumerate(points.tolist())
        ]

    def answer(
        self, counts: Counts, rank: tuple[float, float, float], place: int, cutoff: int
    ) -> Answer:
        """The answer that one of the ladders is."""
        ladder = self.ladders[place].tolist()
        key = (*rank, *self.work, float(len(ladder)), *map(float, ladder), self.bits)
        return Answer(key, self.chain(), cutoff, tuple(ladder[::-1]), counts)


class Archive(Protocol):
    """What the tree asks of `Best` and `Front`.

    `enough`: selections that are sooner looked at than thinned out by further cuts.
    """

    enough: int

    @property
    def empty(self) -> bool:
        """Whether nothing was found: then the clock does not end the search."""

    def tables(self, node: Node) -> Iterator[Cells]:
        """The tables that selections are bounded by, a measure each."""

    def steps(self, costs: list[tuple[Floats, Floats]]) -> list[tuple[Floats, Floats]]:
        """What steps cost by each measure of `room`, from what they cost by those of `tables`."""

    def limit(self, node: Node, masks: int) -> float:
        """The value of the node's objective above which no chain of so many masks is wanted."""

    def room(self, *work: float) -> Floats:
        """(measures, corners): one corner must have room for the bounds by all measures."""

    def order(self, bounds: Floats) -> tuple[Floats, ...]:
        """Sort keys of bounds, the last one first: what is likely to be best comes first."""

    def ladders(self, node: Node) -> Node:
        """The node whose ladders are replayed for a selection of this one."""

    def fresh(self, selections: Selections, cutoff: int) -> Ints:
        """Rows whose ladders were not all replayed."""

    def saw(self, selections: Selections, row: int, cutoff: int) -> None:
        """The ladders of a row were all replayed, as far as there is room for them."""

    def offer(self, replayed: Replayed) -> None:
        """Take what is wanted. May raise OutOfTimeError."""


class Best:
    """The incumbent: excess over the hard limits, then loss, then guarded loss, then work.

    `mark` is what a strategy must beat towards the goal.
    """

    enough = 100

    def __init__(self, layout: Layout, goal: Goal, known: Answer | None = None) -> None:
        self.layout = layout
        self.problem = layout.problem
        self.goal = goal
        self.answer: Answer | None = None
        self.mark: tuple[float, ...] = ()
        self._taken = 0  # ladders replayed
        self.limits = measures(self.problem)[1:]
        self.set(known)

    @property
    def empty(self) -> bool:
        return self.answer is None

    @property
    def caps(self) -> tuple[Measure, ...]:
        """What must not be exceeded."""
        return self.limits

    def set(self, answer: Answer | None) -> None:
        self.answer = answer
        self.mark = () if answer is None else self.goal.mark(answer)

    def know(self, found: Answer | None) -> None:
        """Take an answer where it is better."""
        best = self.answer
        if found is None:
            return
        if best is None or (found.key, found.chain.rank) < (best.key, best.chain.rank):
            self.set(found)

    def hopeless(self, *key: float) -> bool:
        """Whether a strategy that the goal ranks no lower than `key` cannot beat the best."""
        return self.answer is not None and key > self.mark[: len(key)]

    def aim(self) -> Aim:
        """What nodes are bounded by now."""
        return self.goal.aim(self.answer)

    def bound(self, node: Node) -> Bound:
        excess = node.bound if node.aim.excess else self.goal.excess
        return excess, 0.0 if node.aim.excess else node.bound

    def target(self, node: Node) -> float:
        """The value of the node's objective that the best strategy has."""
        return self.mark[0] if node.aim.excess else self.mark[1]

    def limit(self, node: Node, masks: int) -> float:
        limit = self.target(node) + node.aim.offset
        key = (*self.mark[:2], masks, float(node.cutoff > 0), max(1, int(node.must.sum())))
        ties = node.aim.excess or not self.hopeless(*key)
        return limit if ties else limit - node.aim.step

    def tables(self, node: Node) -> Iterator[Cells]:
        """By what the goal minimises, then by what the limits cap."""
        of_node = node.cutoff, node.levels
        yield self.goal.layout.cells(*of_node, self.goal.measure, node.highest)
        for measure in self.limits:
            yield self.layout.cells(*of_node, measure, node.highest)

    def steps(self, costs: list[tuple[Floats, Floats]]) -> list[tuple[Floats, Floats]]:
        return costs

    def room(self, *work: float) -> Floats:
        if self.answer is None:
            return np.full((1 + len(self.caps), 1), np.inf)
        excess, most = self.mark[:2]
        if excess > self.goal.excess:
            most = np.inf
        elif self.hopeless(excess, most, *work):
            most -= _LESS
        capped = [one.per * (one.cap + excess + _FINEST) for one in self.caps]
        return np.array([most, *capped])[:, None]

    def order(self, bounds: Floats) -> tuple[Floats, ...]:
        over = np.zeros(bounds.shape[1:])
        for measure, bound in zip(self.caps, bounds[1:], strict=True):
            over += np.maximum(0.0, bound / measure.per - measure.cap)
        return np.round(bounds[0], _DIGITS), np.round(over, _DIGITS)

    def ladders(self, node: Node) -> Node:
        return node

    def fresh(self, selections: Selections, cutoff: int) -> Ints:
        return np.arange(len(selections))

    def saw(self, selections: Selections, row: int, cutoff: int) -> None:
        """Each node has ladders of its own."""

    def rank(self, counts: Counts, guarded: float) -> tuple[float, float, float]:
        """What answers are compared by before their work: excess, loss and guarded loss."""
        return self.problem.excess(counts), self.problem.loss(counts), guarded

    def offer(self, replayed: Replayed) -> None:
        self._taken += len(replayed.ladders)
        if self.goal.limited and self._taken > self.problem.tuning.patience:
            raise OutOfTimeError
        for counts, places in replayed.points():
            if self.answer is not None and self.rank(counts, 0.0)[:2] > self.answer.key[:2]:
                continue
            drifted = replayed.drifted(places, replayed.cutoff).tolist()
            guarded = [self.problem.loss(Counts(*one)) for one in drifted]
            first = int(np.argmin(guarded))  # of equal ones the first is the most preferred
            rank = self.rank(counts, guarded[first])
            self.know(replayed.answer(counts, rank, int(places[first]), replayed.cutoff))
