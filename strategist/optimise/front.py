"""The non-dominated (missed, stray) points found so far, and what could still join them.

`Staircase` is the set with its corners (local upper bounds); `Front` the archive of a sweep.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from fractions import Fraction

import numpy as np

from strategist.optimise.archive import Replayed
from strategist.optimise.cells import Layout
from strategist.optimise.kernel import Cells
from strategist.optimise.measures import Measure
from strategist.optimise.node import Node
from strategist.optimise.problem import Answer
from strategist.optimise.selections import Selections
from strategist.survey.policy import Loss
from strategist.survey.records import Bools, Floats, Ints

__all__ = ["Corner", "Edge", "Front", "Point", "Ratios", "Staircase", "Weights", "dot"]

Point = tuple[int, int]  # (missed, stray)
Corner = tuple[int, int]  # the most that may be missed and stray
Weights = tuple[int, int]
Ratios = tuple[Fraction, Fraction]  # of weights, missed ÷ stray: the least and the most
Rank = tuple[float, ...]  # what strategies of the same point are compared by, least first
_MOST = 2**62  # more than any value
_LESS = 1.5e-6  # half a unit more than the last decimal of losses


class Edge:
    """A piece of the convex hull: the points of least `weights` · point, from left to right."""

    def __init__(self, left: Point, right: Point) -> None:
        self.left, self.right = left, right
        ratio = Fraction(left[1] - right[1], right[0] - left[0])
        self.weights: Weights = (ratio.numerator, ratio.denominator)

    @property
    def value(self) -> int:
        return dot(self.weights, self.left)


def dot(weights: Weights, point: Point) -> int:
    return weights[0] * point[0] + weights[1] * point[1]


class Staircase:
    """Points by missed ascending, so by stray descending, each with its most preferred answer.

    No point beyond `most` is taken. A *corner* is a point that nothing found so far is as good as,
    as far out as possible: whatever could join the staircase is at or below one. A point found is
    a corner too, as long as a more preferred strategy of the same point may exist.

    With `ratios` only points are kept that are best for some weights between the two. What could
    join these is on or below their hull as well: below a corner the edge there cuts it off, at both
    ends a line of the most or the least ratio.
    """

    def __init__(self, most: Corner, ratios: Ratios | None = None) -> None:
        self.most = most
        self._ends = [(ratio.numerator, ratio.denominator) for ratio in ratios or ()]
        self._found: dict[Point, Answer] = {}
        self._hull: list[Edge] | None = None
        self._lines: tuple[Ints, Ints] | None = None
        self._sorted: Ints | None = None
        self._open: dict[Rank, tuple[Floats, Floats]] = {}

    @property
    def points(self) -> list[Point]:
        return sorted(self._found)

    def __contains__(self, point: Point) -> bool:
        return point in self._found

    def answer(self, point: Point) -> Answer:
        return self._found[point]

    def takes(self, point: Point, work: Rank) -> bool:
        """Whether a strategy of this point could join, or be preferred to the one found there.

        `work` is its rank without the guarded loss, which is known to be 0 or more.
        """
        if point[0] > self.most[0] or point[1] > self.most[1]:
            return False
        same = self._found.get(point)
        if same is not None:
            return (0.0, *work) <= same.key[2:]
        return not self.excludes(np.array([point]))[0]

    def excludes(self, points: Ints) -> Bools:
        """Which of some points, shape (n, 2), cannot join: another one that was found dominates
        them, or there is a better one for any ratio."""
        if not self._found:
            return np.zeros(len(points), bool)
        if self._sorted is None:
            self._sorted = np.array(self.points)
        missed, stray = self._sorted.T
        left = np.searchsorted(missed, points[:, 0], side="right") - 1
        better = stray[left] <= points[:, 1]
        same = (missed[left] == points[:, 0]) & (stray[left] == points[:, 1])
        excluded: Bools = (left >= 0) & better & ~same
        if self._ends:
            weights, values = self.lines()
            excluded |= (points @ weights.T > values).all(axis=1)
        return excluded

    def lines(self) -> tuple[Ints, Ints]:
        """Weights, shape (lines, 2), and the least value found of each: what is best for some ratio
        is on or below one of the lines. The ends of the ratios, which must be given, come first."""
        if self._lines is None:
            inside = [edge.weights for edge in self.hull() if self._is_within(edge)]
            weights = np.array([*self._ends, *inside], np.int64)
            points = np.array(self.points, np.int64).reshape(-1, 2)
            self._lines = weights, (points @ weights.T).min(axis=0, initial=_MOST)
        return self._lines

    def _is_within(self, edge: Edge) -> bool:
        least, most = (Fraction(*end) for end in self._ends)
        return least <= Fraction(*edge.weights) <= most

    def offer(self, answer: Answer) -> None:
        """Take an answer if it is on the staircase and preferred to the one of the same point."""
        point = (answer.counts.missed, answer.counts.stray)
        if not self.takes(point, answer.key[3:]):
            return
        same = self._found.get(point)
        if same is None:
            for m, s in list(self._found):
                if m >= point[0] and s >= point[1]:
                    del self._found[m, s]
        elif (same.key, same.chain.rank) <= (answer.key, answer.chain.rank):
            return
        self._found[point] = answer
        self._open.clear()
        if same is None:
            self._hull = self._lines = self._sorted = None
            if self._ends:
                self._keep_the_best()

    def _keep_the_best(self) -> None:
        """Let go of points that another one is better than for any ratio."""
        weights, values = self.lines()
        for point in self.points:
            if (weights @ point > values).all():
                del self._found[point]
                self._hull = None

    def _between(self) -> list[Corner]:
        """The corners between the points, and at both ends; there one may be below zero."""
        points = self.points
        missed = [*(m - 1 for m, _ in points), self.most[0]]
        stray = [self.most[1], *(s - 1 for _, s in points)]
        return list(zip(missed, stray, strict=True))

    def corners(self) -> list[Corner]:
        """All corners: between the points, and the points themselves."""
        return [*(corner for corner in self._between() if min(corner) >= 0), *self._found]

    def open_to(self, *rank: float) -> Floats:
        """The corners that a strategy could reach whose rank begins with `rank`, as `corners` has
        them, by their extremes: each itself, shape (n, 1, 2), or with ratios, shape (n, 2, 2), what
        misses most of what lies below it, and what lets most through."""
        return self._opened(rank)[0]

    def guarded(self, *rank: float) -> Floats:
        """At each of these corners the guarded loss that a strategy may have: any between the
        points; at a point no more than what was found there, and less where its work is more."""
        return self._opened(rank)[1]

    def _opened(self, rank: Rank) -> tuple[Floats, Floats]:
        if rank not in self._open:
            ties = {p: f.key for p, f in self._found.items() if rank <= f.key[2:]}
            between = self._between()
            corners = np.array([*between, *ties], float).reshape(-1, 1, 2)
            at = corners
            if self._ends and self._found:
                at = at.repeat(2, axis=1)
                self._cut_off(at[: len(between)])
            found = [k[2] - (rank[1:] > k[3:]) * _LESS for k in ties.values()]
            guarded = np.array([np.inf] * len(between) + found)
            inside = (corners >= 0).all(axis=(1, 2))
            self._open[rank] = at[inside], guarded[inside]
        return self._open[rank]

    def _cut_off(self, extremes: Floats) -> None:
        """Move the extremes of the corners between the points to the line over each."""
        weights, values = self.lines()
        on = np.array(self.points) @ weights.T == values
        over = np.array([1, *(on[:-1] & on[1:]).argmax(axis=1), 0])  # through both points
        most, corners = values[over], extremes[:, 0].copy()
        for first, second in ((0, 1), (1, 0)):
            own, other = weights[over, first], weights[over, second]
            at = np.minimum(corners[:, first], most / own)
            extremes[:, first, first] = at
            extremes[:, first, second] = np.minimum(corners[:, second], (most - own * at) / other)

    def hull(self) -> list[Edge]:
        """The edges of the lower left convex hull; points on an edge do not part it."""
        if self._hull is None:
            kept: list[Point] = []
            for point in self.points:
                while len(kept) > 1 and _turns_up(kept[-2], kept[-1], point):
                    kept.pop()
                kept.append(point)
            self._hull = [Edge(left, right) for left, right in itertools.pairwise(kept)]
        return self._hull

    def ratios(self) -> dict[Point, tuple[Fraction, Fraction | None]]:
        """For each point that is best for some weights, the range of missed ÷ stray; None: no end.

        With a ratio r the loss is r × missed + stray. A point inside an edge is best for one ratio.
        """
        edges = self.hull()
        slopes = [Fraction(*edge.weights) for edge in edges]
        found: dict[Point, tuple[Fraction, Fraction | None]] = {}
        for point in self.points:
            touching = [
                slope
                for edge, slope in zip(edges, slopes, strict=True)
                if dot(edge.weights, point) == edge.value
            ]
            inside = all(point not in (edge.left, edge.right) for edge in edges)
            if edges and not touching:
                continue
            first, last = point == self.points[0], point == self.points[-1]
            low = Fraction(0) if last else min(touching)
            found[point] = (low, None if first else max(touching) if not inside else low)
        return found


def _turns_up(before: Point, middle: Point, after: Point) -> bool:
    """Whether the middle point is on or above the line from the one before to the one after."""
    left = (middle[0] - before[0]) * (after[1] - before[1])
    right = (middle[1] - before[1]) * (after[0] - before[0])
    return left <= right


class Front:
    """The staircase as what is wanted of a tree whose nodes are bounded by weights of an edge.

    Each selection is looked at once under each cutoff, with all its ladders, unless a shorter chain
    makes it. Where only points are wanted that are best for some weights, a selection is looked at
    for each edge of the hull, with the ladders up to its value. Guarded losses are by `weights`;
    once many ladders came to points that were found, they are bounded as well.
    """

    enough = 1_000

    def __init__(
        self, layout: Layout, staircase: Staircase, weights: Loss, *, best_only: bool
    ) -> None:
        self.problem = layout.problem
        self.staircase = staircase
        self.value = np.inf  # of the objective, above which nothing is looked at; inf: at all
        self._layout = layout
        self._loss = weights
        self.best_only = best_only
        self._roots: dict[int, Node] = {}
        self._seen: list[dict[bytes, tuple[int, int]]] = [{} for _ in self.problem.thresholds]
        self._weights = np.eye(2)
        self._under_guard = Layout(self.problem.under_guard())
        self._tied = 0  # ladders that came to a point that was found
        self._guarded = False  # whether guarded losses are bounded, from one look to the next

    def towards(self, root: Node, value: float) -> None:
        """What is wanted of the nodes of a root: its own ladders, up to a value."""
        self._roots[root.cutoff], self.value = root, value

    @property
    def empty(self) -> bool:
        return not self.staircase.points

    def ladders(self, node: Node) -> Node:
        root = self._roots[node.cutoff]
        own = root.aim.measure
        self._weights = np.array([(own.missed, own.stray), (1, 0), (0, 1)], float)
        self._guarded = self._tied > self.problem.tuning.tied
        return root

    def tables(self, node: Node) -> Iterator[Cells]:
        for missed, stray in self._weights[:3].tolist():
            yield self._layout.cells(node.cutoff, node.levels, Measure(missed, stray))
        if self._guarded:
            alike = self.problem.alike(node.cutoff)
            loss = Measure(self._loss.missed, self._loss.stray)
            yield self._under_guard.cells(alike[0], node.levels, loss, alike[-1])

    def steps(self, costs: list[tuple[Floats, Floats]]) -> list[tuple[Floats, Floats]]:
        """By the edges of the hull as well."""
        hull = np.array([edge.weights for edge in self.staircase.hull()], float).reshape(-1, 2)
        hull = self.staircase.lines()[0] if self.best_only else hull
        self._weights = np.concatenate([self._weights[:3], hull])
        edge, top = (
            np.tensordot(self._weights, np.array([cost[i] for cost in costs[1:3]]), 1)
            for i in range(2)
        )
        steps = list(zip(edge, top, strict=True))
        return [*steps[:3], *costs[3:], *steps[3:]]

    def limit(self, node: Node, masks: int) -> float:
        extremes = self.staircase.open_to(0.0, float(masks), float(node.cutoff > 0), 1.0)
        weights = node.aim.measure
        most = (extremes @ (weights.missed, weights.stray)).max(initial=-1.0)
        return float(min(self.value, most))

    def room(self, *work: float) -> Floats:
        extremes = self.staircase.open_to(0.0, *work[:3])
        room: Floats = (extremes @ self._weights.T).max(axis=1).T
        if self.best_only or not work:  # of selections: ladders are replayed once for all
            room[0] = np.minimum(room[0], self.value)
        if self._guarded:
            room = np.insert(room, 3, self.staircase.guarded(0.0, *work[:3]), axis=0)
        return room

    def order(self, bounds: Floats) -> tuple[Floats, ...]:
        return (np.round(bounds[0], 6),)

    def fresh(self, selections: Selections, cutoff: int) -> Ints:
        if self.best_only:
            return np.arange(len(selections))
        seen = self._seen[cutoff]
        names = [words.tobytes() for words in selections.words]
        chains = [(selections.masks, bits) for bits in selections.bits.tolist()]
        fresh = [r for r, name in enumerate(names) if name not in seen or seen[name] > chains[r]]
        return np.array(fresh, np.int64)

    def saw(self, selections: Selections, row: int, cutoff: int) -> None:
        if not self.best_only:
            chain = (selections.masks, int(selections.bits[row]))
            self._seen[cutoff][selections.words[row].tobytes()] = chain

    def offer(self, replayed: Replayed) -> None:
        """At each new point the ladder that stands drift best, with the cutoff that serves it."""
        steps = float(replayed.ladders.shape[1])
        left = np.flatnonzero(~self.staircase.excludes(replayed.counts))
        if not len(left):
            return
        for counts, places in replayed.points(left):
            point = (counts.missed, counts.stray)
            work = (*replayed.work, steps, *replayed.ladders[places[0]].astype(float))
            if not self.staircase.takes(point, work) or self.problem.excess(counts):
                continue
            alike = self.problem.alike(replayed.cutoff)
            self._tied += len(places) * (point in self.staircase)
            drifted = np.array([replayed.drifted(places, cutoff) for cutoff in alike])
            losses = np.round(drifted @ (self._loss.missed, self._loss.stray), 6)
            number = int(losses.min(axis=0).argmin())
            cutoff = int(losses[:, number].argmin())
            missed, stray = drifted[cutoff, number].tolist()
            guarded = round(self._loss.missed * missed + self._loss.stray * stray, 6)
            rank = (0.0, self.problem.loss(counts), guarded)
            place = int(places[number])
            self.staircase.offer(replayed.answer(counts, rank, place, alike[cutoff]))
            if self.best_only and self.value < np.inf:
                self.value = min(self.value, float(self._weights[0] @ point))
