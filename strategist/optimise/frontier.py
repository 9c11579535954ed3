"""The exact frontier: every non-dominated pair of missed and stray tags, in one sweep.

What is proven is kept as half-planes: under a cutoff, every strategy with weights · (missed, stray)
below a floor was looked at, or cannot join the staircase of points found. The sweep takes the
edges of the convex hull one after the other, first down to the edge itself, then up to the last
corner between its points, and raises the floor of each cutoff by the bounds of the search
(`node`). It ends when each corner is below a floor of each cutoff: then no strategy is missing.

Over many passes the points are too many to be of use, or to prove. Within a range of weight ratios
the sweep keeps to those that are best for some of them: the edges of the hull with such weights.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from strategist.optimise.chains import TooManyLeftError
from strategist.optimise.clock import Clock, KeepingClock, OutOfTimeError
from strategist.optimise.front import (
    Corner,
    Edge,
    Front,
    Point,
    Ratios,
    Staircase,
    Weights,
    dot,
)
from strategist.optimise.measures import Aim, Measure
from strategist.optimise.node import Node
from strategist.optimise.outer import Found, likely, rival_in
from strategist.optimise.problem import Problem
from strategist.optimise.progress import tell
from strategist.optimise.scores import Part, Parts
from strategist.optimise.selections import Selections
from strategist.optimise.starts import Starts
from strategist.optimise.tree import Tree
from strategist.optimise.zoom import few_levels, is_wide, on_levels
from strategist.survey.policy import Loss
from strategist.survey.records import Bools, Floats, Ints

__all__ = ["Ratios", "Sweep", "sweep"]

_ROUNDING = 1e-9  # of extremes, as a share and at least
_NO_STRATEGY = 2**62  # the floor where there is none at all
_CUTOFFS = 8  # cutoffs that are tried without masks to begin with
_EVEN: Weights = (1, 1)
_STARTS: tuple[Weights, ...] = ((1, 5), _EVEN, (5, 1))  # that starts are sought for


@dataclass(frozen=True)
class Sweep:
    """The staircase, what is proven of it, and what that took.

    `open` are the corners that are not proven (none: complete, or all that is best for some ratio);
    `stray_bounds` says for each point how few stray tags, at least, a strategy reports that misses
    no more, `missed_bounds` how few wanted ones, at least, one misses that reports no more. `parts`
    has the part of each point; `weights` tell any two points apart, and by them the answers'
    losses are counted.
    """

    weights: Loss
    slots: int
    staircase: Staircase
    parts: dict[Point, Part]
    open: tuple[Corner, ...]
    stray_bounds: dict[Point, int]
    missed_bounds: dict[Point, int]
    effort: tuple[tuple[str, int], ...]


def sweep(
    parts: Parts, clock: Clock, a_point_s: float = 0.0, ratios: Ratios | None = None
) -> Sweep:
    """All non-dominated points of all parts that keep the hard limits; the loss plays no part.
    Where `ratios` are given, only those that are best for some weights between the two.

    What is proven holds for chains of at most `slots` masks, those within reach; longer ones are
    sought from some good starts only. Under a time limit very many levels are thinned out, and
    nothing is proven. Of the time `a_point_s` seconds are kept back for each point found.

    The parts are swept one after the other, each with the points of those before as points to beat.
    """
    first = parts.parts[0]
    if is_wide(first.problem, clock):
        return _on_few_levels(first, clock, a_point_s, ratios)
    runs = _swept(parts, clock, a_point_s, ratios)
    whole = runs[-1]
    staircase = whole.staircase
    for run in runs:
        run.staircase = staircase
    effort: dict[str, int] = {}
    for run in runs:
        for name, count in run.tree.effort.items():
            effort[name] = effort.get(name, 0) + count
    shown = Staircase(staircase.most, ratios)
    for one in whole.found.values():
        shown.offer(one.answer)
    return Sweep(
        whole.problem.policy.loss,
        min(run.slots for run in runs),
        shown,
        {point: one.part for point, one in whole.found.items()},
        tuple(dict.fromkeys(corner for run in runs for corner in run.left)),
        {(m, s): _least(runs, [(m, n) for n in range(s + 1)]) for m, s in shown.points},
        {(m, s): _least(runs, [(n, s) for n in range(m + 1)]) for m, s in shown.points},
        tuple(effort.items()),
    )


def _swept(parts: Parts, clock: Clock, a_point_s: float, ratios: Ratios | None) -> list[_Sweep]:
    """The parts, the most promising one first, each with its share of the time."""
    several = len(parts.parts) > 1
    order = list(parts.parts)
    if several:
        order.sort(key=lambda part: Found(part, likely(part.problem)).key)
    runs: list[_Sweep] = []
    found: dict[Point, Found] = {}
    for number, part in enumerate(order):
        left = clock.left
        own = clock
        if several and left is not None:
            own = Clock(left / min(2, len(order) - number), now=clock.now)
        run = _Sweep(part, own, a_point_s, found, ratios)
        try:
            if not found or not run.chains.reaches(run.slots):
                run.start()
            if ratios is None:
                run.prove()
            else:
                run.prove_best(ratios)
            run.whole = True
        except (OutOfTimeError, TooManyLeftError):
            pass  # what could not be looked at stays open
        found = run.found = run.union()
        run.tree.layout.forget()
        runs.append(run)
    return runs


def _least(runs: list[_Sweep], corners: list[Corner]) -> int:
    return min(run.open_from(corners) for run in runs)


def _on_few_levels(whole: Part, clock: Clock, a_point_s: float, ratios: Ratios | None) -> Sweep:
    """The points that some of the levels reach, as points of the whole problem; all is open."""
    keep = few_levels(whole.problem)
    few = replace(whole, problem=on_levels(whole.problem, keep))
    part = sweep(Parts((few,), 1, 0), clock, a_point_s, ratios)
    staircase = Staircase(part.staircase.most)
    for point in part.staircase.points:
        answer = part.staircase.answer(point)
        levels = tuple(keep[list(answer.levels)].tolist())
        key = (*answer.key[:6], *map(float, levels[::-1]), answer.key[-1])
        staircase.offer(replace(answer, key=key, levels=levels))
    return replace(
        part,
        parts=dict.fromkeys(staircase.points, whole),
        staircase=staircase,
        open=tuple(staircase.corners()),
        stray_bounds=dict.fromkeys(staircase.points, 0),
        missed_bounds=dict.fromkeys(staircase.points, 0),
    )


class _Sweep:
    def __init__(
        self,
        part: Part,
        clock: Clock,
        a_point_s: float,
        known: Mapping[Point, Found],
        ratios: Ratios | None,
    ) -> None:
        self.part, problem = part, part.problem
        most = _most(problem)
        ordering = Loss(min(1e6, most[1] + 1.0), 1.0)  # tells any two points apart
        self.problem = replace(problem, policy=replace(problem.policy, loss=ordering))
        if a_point_s:
            clock = KeepingClock(clock.seconds, clock.started, clock.now, needed=self._needed)
        self.clock, self._a_point_s = clock, a_point_s
        self.tree = Tree(self.problem, clock)
        self.chains = self.tree.chains
        self.slots = self.problem.slots  # of the chains that are looked at one and all
        self.staircase = Staircase(most, ratios)
        self.known = known
        self.found: dict[Point, Found] = {}
        self._rivals = {point: rival_in(part, found) for point, found in known.items()}
        for point, rival in self._rivals.items():
            self.staircase.offer(replace(rival, counts=known[point].answer.counts))
        self.front = Front(
            self.tree.layout, self.staircase, problem.policy.loss, best_only=ratios is not None
        )
        self._same_as_another = np.ones(len(problem.thresholds), bool)
        self._same_as_another[problem.outcomes] = False
        self.floors: dict[Weights, Ints] = {}
        self._confirmed: set[Weights] = set()
        self.whole = False  # whether all was looked at that is asked for

    def _needed(self) -> float:
        """Seconds kept back for evaluating what was found."""
        return self._a_point_s * len(self.staircase.points)

    def union(self) -> dict[Point, Found]:
        """The points with their strategies, of this part or of those before."""
        found = {}
        for point in self.staircase.points:
            answer, rival = self.staircase.answer(point), self._rivals.get(point)
            same = rival is not None and answer.key == rival.key
            found[point] = self.known[point] if same else Found(self.part, answer)
        return found

    # what is proven

    def settled(self, extremes: Floats | Ints) -> Bools:
        """Where nothing that was not looked at is within some extremes (`Staircase.open_to`), by
        half-planes: shape (corners, cutoffs)."""
        below = np.repeat(self._same_as_another[None], len(extremes), axis=0)
        for weights, floors in self.floors.items():
            most = (extremes @ weights).max(axis=1)
            below |= floors > (most * (1 + _ROUNDING) + _ROUNDING)[:, None]
        return below

    @property
    def left(self) -> list[Corner]:
        """What is open of what is asked for."""
        return [] if self.whole else self.open()

    def open(self) -> list[Corner]:
        corners = self.staircase.corners()
        left = np.flatnonzero(~self.settled(self.staircase.open_to()).all(axis=1))
        return [corners[place] for place in left.tolist()]

    def open_from(self, corners: list[Corner]) -> int:
        """The place of the first corner that is not settled, at most the last; each holds more."""

        def is_open(corner: Corner) -> bool:
            return not self.settled(np.array([[corner]])).all()

        return bisect.bisect(corners[:-1], False, key=is_open)

    # the sweep

    def start(self) -> None:
        """A good staircase to begin with: some chains and cutoffs, for several weights (for one
        where only the best are wanted: what it lacks is found sooner than sought), each with its
        likely ladder."""
        outcomes = self.problem.outcomes
        spread = np.unique(np.linspace(0, len(outcomes) - 1, _CUTOFFS).astype(int))
        for weights in (_EVEN,) if self.front.best_only else _STARTS:
            for cutoff in outcomes[spread].tolist():
                self._try(self.chains.listed(0), cutoff, weights)
            if self.problem.slots:
                policy = replace(self.problem.policy, loss=Loss(*map(float, weights)))
                starts = Starts(replace(self.problem, policy=policy), self.chains)
                for masks in range(1, self.problem.slots + 1):
                    for selections, cutoff in starts.promising(masks):
                        self._try(selections, cutoff, weights)

    def _try(self, selections: Selections, cutoff: int, weights: Weights) -> None:
        root = self._root(cutoff, weights)
        self.front.towards(root, np.inf)
        for row in range(len(selections)):
            self.tree.ladders(selections, row, self.front.ladders(root), self.front, likely=True)

    def prove(self) -> None:
        """Raise floors, edge after edge, until every corner is settled."""
        self._reach()
        while open_ := self.open():
            self._tell()
            hull = self.staircase.hull()
            for edge in hull:
                if edge.weights not in self._confirmed:
                    self._raise(edge.weights, edge.value)
                    self._confirmed.add(edge.weights)
                    break
            else:
                corner = open_[0]
                weights = self._weights(corner)
                together = [q for q in open_ if self._weights(q) == weights]
                self._raise(weights, max(dot(weights, q) for q in together))

    def _tell(self) -> None:
        found = len(self.staircase.points)
        tell(None, None, f"{found} trade-off{'' if found == 1 else 's'} found")

    def prove_best(self, ratios: Ratios) -> None:
        """Raise floors under the edges of the hull whose weights lie between two ratios."""
        self._reach()
        if not self.staircase.points:
            weights = self._weights(self.staircase.most)
            self._raise(weights, dot(weights, self.staircase.most))
        if not self.staircase.points:
            return
        for end in ratios:
            weights = end.numerator, end.denominator
            self._raise(weights, min(dot(weights, p) for p in self.staircase.points))
        while edges := [edge for edge in self.staircase.hull() if self._is_new(edge, ratios)]:
            self._raise(edges[0].weights, edges[0].value)
            self._confirmed.add(edges[0].weights)

    def _is_new(self, edge: Edge, ratios: Ratios) -> bool:
        return (
            ratios[0] <= Fraction(*edge.weights) <= ratios[1]
            and edge.weights not in self._confirmed
        )

    def _reach(self) -> None:
        """How long chains may be that are looked at one and all."""
        while not self.chains.reaches(self.slots):
            self.slots -= 1

    def _weights(self, corner: Corner) -> Weights:
        """The direction in which a corner is sought to be settled."""
        points = self.staircase.points
        if not points:
            most = (max(1, self.staircase.most[0]), max(1, self.staircase.most[1]))
            common = math.gcd(*most)
            return most[1] // common, most[0] // common
        if corner[0] < points[0][0]:
            return 1, 0
        if corner[1] < points[-1][1]:
            return 0, 1
        for edge in self.staircase.hull():
            if edge.left[0] <= corner[0] <= edge.right[0]:
                return edge.weights
        return 1, 1

    def _raise(self, weights: Weights, value: int) -> None:
        """Raise the floor of each cutoff above a value, where that settles anything: of many
        together where their bound allows that, of the others one by one."""
        cutoffs = self.problem.outcomes
        floors = self.floors.setdefault(weights, np.zeros(len(self.problem.thresholds), np.int64))
        waiting = [self._root(int(cutoffs[0]), weights)]
        waiting[0].highest = int(cutoffs[-1])
        while waiting:
            node = waiting.pop(min(range(len(waiting)), key=lambda n: waiting[n].bound))
            value = self._wanted(weights, value)
            inside = cutoffs[(cutoffs >= node.cutoff) & (cutoffs <= node.highest)]
            left = inside[(floors[inside] <= value) & self._matters(inside)].tolist()
            if len(left) == 1:
                root = self._root(left[0], weights)
                root.multiplier = node.multiplier
                self._cover(root, weights, value)
                continue
            if not left:
                continue
            if self.clock.expired():
                raise OutOfTimeError
            self._tell()
            node.cutoff, node.highest = left[0], left[-1]
            node.raise_bound(value)
            if node.bound > value:
                floors[left] = np.maximum(floors[left], int(min(node.bound, _NO_STRATEGY)))
            else:
                waiting += node.halves(np.array(left))

    def _wanted(self, weights: Weights, value: int) -> int:
        """Up to what value strategies are to be looked at: where only the best are wanted, up to
        the least that was found."""
        if not self.front.best_only:
            return value
        return min((dot(weights, point) for point in self.staircase.points), default=value)

    def _matters(self, cutoffs: Ints) -> Bools:
        """Under which of the cutoffs a corner is open."""
        settled = self.settled(self.staircase.open_to())[:, cutoffs]
        left: Bools = ~np.logical_and.reduce(settled, axis=0)
        return left

    def _root(self, cutoff: int, weights: Weights) -> Node:
        measure = Measure(float(weights[0]), float(weights[1]))
        return self.tree.node(cutoff, Aim(measure, 0.0, excess=False, step=1.0))

    def _cover(self, root: Node, weights: Weights, value: int) -> None:
        """Look at whatever under a cutoff is not above a value, then raise its floor."""
        floors = self.floors[weights]
        root.raise_bound(value)
        if root.bound > value:
            floors[root.cutoff] = min(root.bound, _NO_STRATEGY)
            return
        whole = self.tree.node(root.cutoff, root.aim)  # a tightened node has fewer levels
        if self.tree.are_few(self.slots):
            self._exhaust(whole, floors)
            return
        self.front.towards(whole, value)
        waiting = [root]
        while waiting:
            if self.clock.expired():
                raise OutOfTimeError
            node = waiting.pop()
            self._tell()
            self.tree.nodes += 1
            value = self._wanted(weights, value)
            node.tighten(value)  # from here on its bound holds for what is not above the value
            if node.bound > value or self.tree.explore(node, self.front, self.slots):
                continue
            parts = node.split()
            if not parts:
                raise TooManyLeftError
            waiting += parts
        floors[root.cutoff] = self._wanted(weights, value) + 1

    def _exhaust(self, whole: Node, floors: Ints) -> None:
        """Look at every chain under a cutoff, whatever the weights, where they are few."""
        self.front.towards(whole, np.inf)
        for masks in range(self.slots + 1):
            self.tree.look(self.chains.listed(masks), whole, self.front)
        floors[whole.cutoff] = _NO_STRATEGY


def _most(problem: Problem) -> Corner:
    """The most that may be missed and stray: hard limits, or all there is."""
    wanted, stray = problem.wanted, int(problem.row_weight.sum()) - problem.wanted
    limits = problem.policy.limits
    kept = [m for m in _down(wanted) if limits.excess(m / max(wanted, 1), 0.0) < 5e-7]
    let = [s for s in _down(stray) if limits.excess(None, s / problem.passes) < 5e-7]
    return max(kept), max(let)  # none at all keeps any limit


def _down(number: int) -> Iterable[int]:
    return range(number, -1, -1)
