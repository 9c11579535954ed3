"""The exact frontier: every non-dominated pair of missed and stray tags, in one sweep.

What is proven is kept as half-planes: under a cutoff, every strategy with weights · (missed, stray)
below a floor was looked at, or cannot join the staircase of points found. The sweep takes the
edges of the convex hull one after the other, first down to the edge itself, then up to the last
corner between its points, and raises the floor of each cutoff by the bounds of the search
(`branch`). It ends when each corner is below a floor of each cutoff: then no strategy is missing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from strategist.optimise.branch import Branch, strongest
from strategist.optimise.cells import Layout
from strategist.optimise.chains import Chains, TooManyLeftError
from strategist.optimise.kernel import bounds_of, step_costs
from strategist.optimise.ladders import in_order, steps_of
from strategist.optimise.measures import Aim, Measure
from strategist.optimise.problem import Answer, Problem, walk
from strategist.optimise.search import Clock
from strategist.optimise.selections import Selections, TooManySelectionsError
from strategist.optimise.staircase import Corner, Staircase, Weights, dot
from strategist.optimise.starts import Starts
from strategist.survey.policy import Loss
from strategist.survey.records import Floats, Ints

__all__ = ["Sweep", "sweep"]

_DIGITS = 6
_MANY = 200  # chains left in a branch that are worth splitting it, times (50 + classes)
_AT_ONCE = 2_000  # selections bounded between two looks at the clock
_MISSED, _STRAY = Measure(1.0, 0.0), Measure(0.0, 1.0)
_STARTS = (0.2, 1.0, 5.0)  # weights of a missed tag in strays that starts are sought for


class _OutOfTimeError(Exception):
    """The clock ran out."""


@dataclass(frozen=True)
class Sweep:
    """The staircase, the corners that are not proven (none: complete), and what it took."""

    problem: Problem
    staircase: Staircase
    open: tuple[Corner, ...]
    effort: tuple[tuple[str, int], ...]


def sweep(problem: Problem, clock: Clock) -> Sweep:
    """All non-dominated points of a problem that keep its hard limits; the loss plays no part.

    Raises TooManySelectionsError where listing the chains is out of the question.
    """
    run = _Sweep(problem, clock)
    try:
        run.start()
        run.prove()
    except _OutOfTimeError:
        pass
    effort = {"branches": run.branches, "chains": run.weighed, "replayed": run.replayed}
    return Sweep(run.problem, run.staircase, tuple(run.open()), tuple(effort.items()))


class _Sweep:
    def __init__(self, problem: Problem, clock: Clock) -> None:
        most = _most(problem)
        ordering = Loss(min(1e6, most[1] + 1.0), 1.0)  # tells any two points apart
        self.problem = replace(problem, policy=replace(problem.policy, loss=ordering))
        self.clock = clock
        self.layout = Layout(self.problem)
        self.chains = Chains(self.problem)
        self.staircase = Staircase(most)
        self.floors: dict[Weights, Ints] = {}
        self.branches = self.weighed = self.replayed = 0

    # what is proven

    def settled(self, corner: Corner, cutoff: int | slice = slice(None)) -> bool:
        """Whether nothing that was not looked at is at or below a corner, by half-planes."""
        below = np.zeros(len(self.problem.thresholds), bool)[cutoff]
        for weights, floors in self.floors.items():
            below = below | (floors[cutoff] > dot(weights, corner))
        return bool(np.all(below))

    def open(self) -> list[Corner]:
        return [corner for corner in self.staircase.corners() if not self.settled(corner)]

    # looking at selections one by one

    def _look(self, selections: Selections, branch: Branch, limit: float = np.inf) -> None:
        """Replay what could join the staircase, of some selections, with a branch's ladders."""
        policy, problem = self.problem.policy, self.problem
        measures = (branch.aim.measure, _MISSED, _STRAY)
        for start in range(0, len(selections), _AT_ONCE):
            if self.staircase.points and self.clock.expired():
                raise _OutOfTimeError
            part = selections.at(np.arange(start, min(start + _AT_ONCE, len(selections))))
            self.weighed += len(part)
            rows, bounds = np.arange(len(part)), np.zeros((0, len(part)))
            for measure, most in zip(measures, (limit, *self.staircase.most), strict=True):
                state = part.unpack(rows).astype(np.int64)
                cells = branch.cells_by(measure)
                found = bounds_of(
                    state, cells, policy.stop_after, problem.steps_max, branch.must, most
                )
                bounds = np.vstack([bounds, np.round(found, _DIGITS)])
                kept = bounds[-1] <= most
                rows, bounds = rows[kept], bounds[:, kept]
            for place in np.lexsort((part.bits[rows], bounds[0])):
                if self._joins(branch, bounds[:, place], part.masks, branch.cutoff > 0, 1):
                    self._ladders(part, int(rows[place]), branch)

    def _joins(self, branch: Branch, bounds: Floats, *rank: float) -> bool:
        """Whether a strategy with these bounds and such a beginning of its rank could be new."""
        corners = self.staircase.open_to(*map(float, rank))
        weights = branch.aim.measure
        least, missed, stray = bounds
        return bool(
            np.any(
                (corners[:, 0] >= missed)
                & (corners[:, 1] >= stray)
                & (corners @ (weights.missed, weights.stray) >= least)
            )
        )

    def _ladders(self, selections: Selections, row: int, branch: Branch) -> None:
        """Replay the ladders of one selection where bounds leave any."""
        problem, levels = self.problem, branch.levels
        through = selections.unpack(np.array([row]))[0]
        none = np.zeros(len(self.layout.klass))
        state, stop_after = through.astype(np.int64), problem.policy.stop_after
        steps = tuple(
            steps_of(
                *step_costs(state, none, branch.cells_by(measure), stop_after, branch.must)[:2],
                problem.steps_max,
            )
            for measure in (branch.aim.measure, _MISSED, _STRAY)
        )
        accepted = problem.accepted(branch.cutoff) & through[problem.profile.row_class][:, None]
        begin = (float(selections.masks), float(branch.cutoff > 0))
        self.replayed += 1

        def hopeless(bounds: tuple[float, ...], places: tuple[int, ...]) -> bool:
            rank = (*begin, float(count))
            return not self._joins(branch, np.round(bounds, _DIGITS), *rank)

        tops = range(int(np.flatnonzero(branch.must).max(initial=0)), len(levels))
        for count in range(1, problem.steps_max + 1):
            for places in in_order(steps, count, tops, hopeless):
                ladder = tuple(int(level) for level in levels[list(places)])
                counts = walk(problem, accepted, ladder[::-1])
                rank = (*begin, float(count), *ladder, float(selections.bits[row]))
                key = (problem.excess(counts), problem.loss(counts), *rank)
                if key[0] == 0:
                    self.staircase.offer(
                        Answer(key, selections.chain(row), branch.cutoff, ladder[::-1], counts)
                    )

    # the sweep

    def start(self) -> None:
        """A good staircase to begin with: every cutoff without masks, then some with."""
        for cutoff in range(len(self.problem.thresholds)):
            self._look(self.chains.listed(0), self._branch(cutoff, (1, 1)))
        if self.problem.slots:
            for missed in _STARTS:
                policy = replace(self.problem.policy, loss=Loss(missed, 1.0))
                weighed = replace(self.problem, policy=policy)
                for selections, cutoff in Starts(weighed, self.chains).promising():
                    self._look(selections, self._branch(cutoff, (1, 1)))

    def prove(self) -> None:
        """Raise floors, edge after edge, until every corner is settled."""
        while open_ := self.open():
            hull = self.staircase.hull()
            for edge in hull:
                if self._floor(edge.weights) <= edge.value:
                    self._raise(edge.weights, edge.value)
                    break
            else:
                corner = open_[0]
                weights = self._weights(corner)
                together = [q for q in open_ if self._weights(q) == weights]
                self._raise(weights, max(dot(weights, q) for q in together))

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

    def _floor(self, weights: Weights) -> int:
        floors = self.floors.get(weights)
        return 0 if floors is None else int(floors.min())

    def _raise(self, weights: Weights, value: int) -> None:
        """Raise the floor of each cutoff above a value, where that settles anything."""
        cutoffs = len(self.problem.thresholds)
        floors = self.floors.setdefault(weights, np.zeros(cutoffs, np.int64))
        for cutoff in range(cutoffs):
            if floors[cutoff] > value:
                continue
            branch = self._branch(cutoff, weights)
            self._cover(branch, value, floors)

    def _branch(self, cutoff: int, weights: Weights) -> Branch:
        every = np.arange(len(self.problem.profile.levels_dbm))
        must = (every == every[-1]) & self.problem.top_fixed
        aim = Aim(Measure(*map(float, weights)), 0.0, excess=False, step=1.0)
        return Branch(self.layout, aim, cutoff, every, must)

    def _cover(self, whole: Branch, value: int, floors: Ints) -> None:
        """Look at whatever under a cutoff is not above a value, then raise its floor."""
        waiting = [whole]
        floor = math.inf
        while waiting:
            if self.clock.expired():
                raise _OutOfTimeError
            branch = waiting.pop()
            self.branches += 1
            branch.tighten(value)
            if branch.bound > value:
                floor = min(floor, branch.bound)
                continue
            floor = value + 1
            if not self._explore(branch, value):
                parts = branch.split()
                if not parts:
                    raise TooManySelectionsError(
                        "one ladder leaves too many mask chains to be listed"
                    )
                waiting += parts
        floors[whole.cutoff] = max(floors[whole.cutoff], min(floor, 2**62))

    def _explore(self, branch: Branch, value: int) -> bool:
        """Look at the chains of a branch that its bounds leave; False: better split it."""
        many = np.inf if branch.must.all() else _MANY * (50 + len(branch.state))
        cuts = branch.penalties()
        for masks in range(self.problem.slots + 1):
            limit = self._limit(branch, masks, value)
            sample = self.chains.sample(masks)
            left = sample
            for cut in cuts:
                left = cut.within(left, limit)
            cuts = strongest([*cuts, *branch.cuts(left, limit)], sample, limit)
            try:
                selections = branch.sieve(self.chains.worth(cuts, limit, masks), limit)
            except TooManyLeftError:
                return False
            if len(selections) > many:
                return False
            self._look(selections, branch, limit)
        return True

    def _limit(self, branch: Branch, masks: int, value: int) -> float:
        """The value above which a strategy of the branch with so many masks cannot be new."""
        corners = self.staircase.open_to(float(masks), float(branch.cutoff > 0), 1.0)
        weights = branch.aim.measure
        most = (corners @ (weights.missed, weights.stray)).max(initial=-1.0)
        return min(float(value), float(most))


def _most(problem: Problem) -> Corner:
    """The most that may be missed and stray: hard limits, or all there is."""
    wanted, stray = problem.wanted, int(problem.row_weight.sum()) - problem.wanted
    limits = problem.policy.limits
    kept = [m for m in _down(wanted) if limits.excess(m / max(wanted, 1), 0.0) < 5e-7]
    let = [s for s in _down(stray) if limits.excess(None, s / problem.passes) < 5e-7]
    return max(kept, default=-1), max(let, default=-1)


def _down(number: int) -> Iterable[int]:
    return range(number, -1, -1)
