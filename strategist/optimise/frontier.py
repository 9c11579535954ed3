"""The exact frontier: every non-dominated pair of missed and stray tags, in one sweep.

What is proven is kept as half-planes: under a cutoff, every strategy with weights · (missed, stray)
below a floor was looked at, or cannot join the staircase of points found. The sweep takes the
edges of the convex hull one after the other, first down to the edge itself, then up to the last
corner between its points, and raises the floor of each cutoff by the bounds of the search
(`branch`). It ends when each corner is below a floor of each cutoff: then no strategy is missing.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from strategist.optimise.branch import Branch, strongest
from strategist.optimise.cells import Layout, Tables
from strategist.optimise.chains import Chains, TooManyLeftError
from strategist.optimise.clock import Clock, KeepingClock, OutOfTimeError
from strategist.optimise.kernel import bounds_of, step_costs
from strategist.optimise.measures import Aim, Measure
from strategist.optimise.problem import Answer, Counts, Problem
from strategist.optimise.selections import Selections
from strategist.optimise.staircase import Corner, Point, Staircase, Weights, dot
from strategist.optimise.starts import Starts
from strategist.optimise.walks import counts_of, ladder_bounds, ladders_left
from strategist.optimise.zoom import few_levels, is_wide, on_levels
from strategist.survey.policy import Loss
from strategist.survey.records import Bools, Ints

__all__ = ["Sweep", "sweep"]

_DIGITS = 6
_MANY = 200  # chains left in a branch that are worth splitting it, times (50 + classes)
_FEW = 1_000  # selections that are sooner looked at than thinned out by further bounds
_ALL = 300  # chains in all that are sooner looked at one by one than bounded together
_AT_ONCE = 2_000  # selections bounded between two looks at the clock
_TURNS = 2_000_000  # of the loop over ladders, between two looks at the clock
_NO_STRATEGY = 2**62  # the floor where there is none at all
_MISSED, _STRAY = Measure(1.0, 0.0), Measure(0.0, 1.0)
_CUTOFFS = 8  # cutoffs that are tried without masks to begin with
_STARTS = (0.2, 1.0, 5.0)  # weights of a missed tag in strays that starts are sought for


@dataclass(frozen=True)
class Sweep:
    """The staircase, what is proven of it, and what that took.

    `open` are the corners that are not proven (none: complete); `stray_bounds` says for each point
    how few stray tags, at least, a strategy reports that misses no more, `missed_bounds` how few
    wanted ones, at least, one misses that reports no more. `problem` has weights that tell any two
    points apart, by which the answers' losses are counted.
    """

    problem: Problem
    slots: int
    staircase: Staircase
    open: tuple[Corner, ...]
    stray_bounds: dict[Point, int]
    missed_bounds: dict[Point, int]
    effort: tuple[tuple[str, int], ...]


def sweep(problem: Problem, clock: Clock, a_point_s: float = 0.0) -> Sweep:
    """All non-dominated points of a problem that keep its hard limits; the loss plays no part.

    What is proven holds for chains of at most `slots` masks, those within reach; longer ones are
    sought from some good starts only. Under a time limit very many levels are thinned out, and
    nothing is proven. Of the time `a_point_s` seconds are kept back for each point found.
    """
    if is_wide(problem, clock):
        return _on_few_levels(problem, clock, a_point_s)
    run = _Sweep(problem, clock, a_point_s)
    try:
        run.start()
        run.prove()
    except (OutOfTimeError, TooManyLeftError):
        pass  # what could not be looked at stays open
    effort = {"branches": run.branches, "chains": run.weighed, "replayed": run.replayed}
    staircase = run.staircase
    return Sweep(
        run.problem,
        run.slots,
        staircase,
        tuple(run.open()),
        {(m, s): run.open_from([(m, n) for n in range(s + 1)]) for m, s in staircase.points},
        {(m, s): run.open_from([(n, s) for n in range(m + 1)]) for m, s in staircase.points},
        tuple(effort.items()),
    )


def _on_few_levels(problem: Problem, clock: Clock, a_point_s: float) -> Sweep:
    """The points that some of the levels reach, as points of the whole problem; all is open."""
    keep = few_levels(problem)
    part = sweep(on_levels(problem, keep), clock, a_point_s)
    staircase = Staircase(part.staircase.most)
    for point in part.staircase.points:
        answer = part.staircase.answer(point)
        levels = tuple(keep[list(answer.levels)].tolist())
        key = (*answer.key[:6], *map(float, levels[::-1]), answer.key[-1])
        staircase.offer(replace(answer, key=key, levels=levels))
    return replace(
        part,
        problem=replace(problem, policy=part.problem.policy),
        staircase=staircase,
        open=tuple(staircase.corners()),
        stray_bounds=dict.fromkeys(staircase.points, 0),
        missed_bounds=dict.fromkeys(staircase.points, 0),
    )


class _Sweep:
    def __init__(self, problem: Problem, clock: Clock, a_point_s: float) -> None:
        most = _most(problem)
        self._guarded = problem.under_guard()  # with the weights that its losses are counted by
        ordering = Loss(min(1e6, most[1] + 1.0), 1.0)  # tells any two points apart
        self.problem = replace(problem, policy=replace(problem.policy, loss=ordering))
        if a_point_s:
            clock = KeepingClock(clock.seconds, clock.started, clock.now, needed=self._needed)
        self.clock, self._a_point_s = clock, a_point_s
        self.layout = Layout(self.problem)
        self.slots = self.problem.slots  # of the chains that are looked at one and all
        self.chains = Chains(self.problem, clock)
        self.staircase = Staircase(most)
        self._same_as_another = np.ones(len(problem.thresholds), bool)
        self._same_as_another[problem.outcomes] = False
        self.floors: dict[Weights, Ints] = {}
        self._proving = False
        self._confirmed: set[Weights] = set()
        self._tables = Tables(self.layout)
        self._seen: list[dict[bytes, tuple[int, int]]] = [{} for _ in problem.thresholds]
        self._every = np.arange(len(problem.profile.levels_dbm))
        self._must = (self._every == self._every[-1]) & self.problem.top_fixed
        self.branches = self.weighed = self.replayed = 0

    def _needed(self) -> float:
        """Seconds kept back for evaluating what was found."""
        return self._a_point_s * len(self.staircase.points)

    # what is proven

    def settled(self, corner: Corner, cutoff: int | slice = slice(None)) -> bool:
        """Whether nothing that was not looked at is at or below a corner, by half-planes."""
        below = self._same_as_another[cutoff]
        for weights, floors in self.floors.items():
            below = below | (floors[cutoff] > dot(weights, corner))
        return bool(np.all(below))

    def open(self) -> list[Corner]:
        return [corner for corner in self.staircase.corners() if not self.settled(corner)]

    def open_from(self, corners: list[Corner]) -> int:
        """The place of the first corner that is not settled, at most the last; each holds more."""
        return bisect.bisect(corners[:-1], False, key=lambda corner: not self.settled(corner))

    # looking at selections one by one

    def _look(self, selections: Selections, branch: Branch, limit: float = np.inf) -> None:
        """Replay what could join the staircase, of some selections under the cutoff of a branch.

        `limit` is for the measure of the branch. What was replayed once is passed over, unless that
        was by a longer chain.
        """
        seen = self._seen[branch.cutoff]
        for start in range(0, len(selections), _AT_ONCE):
            if self.staircase.points and self.clock.expired():
                raise OutOfTimeError
            part = selections.at(np.arange(start, min(start + _AT_ONCE, len(selections))))
            self.weighed += len(part)
            names = [words.tobytes() for words in part.words]
            chains = [(part.masks, bits) for bits in part.bits.tolist()]
            rows = [r for r, name in enumerate(names) if name not in seen or seen[name] > chains[r]]
            for row in self._possible(part, np.array(rows), branch, limit):
                if self._ladders(part, row, branch.cutoff):
                    seen[names[row]] = chains[row]
                elif self._proving:
                    raise TooManyLeftError

    def _possible(
        self, part: Selections, rows: Ints, branch: Branch, limit: float
    ) -> Iterator[int]:
        """Rows of selections that bounds leave, the least bound first."""
        policy, steps = self.problem.policy, self.problem.steps_by_masks[part.masks]
        bounds = np.zeros((0, len(rows)))
        for measure, most in zip(
            (branch.aim.measure, _MISSED, _STRAY), (limit, *self.staircase.most), strict=True
        ):
            if not len(rows):
                return
            state = part.unpack(rows).astype(np.int64)
            cells = self._tables.weighed(branch.cutoff, measure)
            found = bounds_of(state, cells, policy.stop_after, steps, self._must, most)
            bounds = np.vstack([bounds, np.round(found, _DIGITS)])
            kept = bounds[-1] <= most
            rows, bounds = rows[kept], bounds[:, kept]
        weights = branch.aim.measure
        for place in np.lexsort((part.bits[rows], bounds[0])):
            least, missed, stray = bounds[:, place]
            corners = self.staircase.open_to(0.0, float(part.masks), float(branch.cutoff > 0), 1.0)
            room = (corners[:, 0] >= missed) & (corners[:, 1] >= stray)
            if (room & (corners @ (weights.missed, weights.stray) >= least)).any():
                yield int(rows[place])

    def _ladders(self, selections: Selections, row: int, cutoff: int) -> bool:
        """Replay every ladder of one selection that could join the staircase; whether these were
        all, which under a time limit they may not be."""
        problem, through = self.problem, selections.unpack(np.array([row]))[0]
        state, none = through.astype(np.int64), np.zeros(len(self.layout.klass))
        stop_after, must = problem.policy.stop_after, self._must
        most = problem.steps_by_masks[selections.masks]
        cells = (self._tables.weighed(cutoff, measure) for measure in (_MISSED, _STRAY))
        costs = [step_costs(state, none, one, stop_after, must)[:2] for one in cells]
        weights = np.array([(1, 0), (0, 1), *(e.weights for e in self.staircase.hull())], float)
        edge, top = (
            np.tensordot(weights, np.array([cost[i] for cost in costs]), 1) for i in range(2)
        )
        least, total = ladder_bounds(edge, top, most)
        begin = (float(selections.masks), float(cutoff > 0))
        self.replayed += 1
        whole, turns = True, 2**62 if self.clock.seconds is None else _TURNS
        for count in range(1, most + 1):
            for highest in range(count - 1, len(self._every)):
                room = weights @ self.staircase.open_to(0.0, *begin, float(count)).T
                if not (total[:, count - 1, highest, None] <= room + 1e-6).all(axis=0).any():
                    continue
                if self.staircase.points:
                    self.clock.check()
                ladders, every = ladders_left(edge, top, least, room, count, highest, must, turns)
                whole = whole and every
                if not len(ladders):
                    continue
                counts = self._counts(problem, ladders, cutoff, through)
                code = counts[:, 0] * (counts[:, 1].max() + 1) + counts[:, 1]
                _, first, of_point = np.unique(code, return_index=True, return_inverse=True)
                for number, place in enumerate(first):
                    work = (*begin, float(count), *ladders[place].astype(float))
                    point = (int(counts[place, 0]), int(counts[place, 1]))
                    if self.staircase.takes(point, work):
                        self._offer(selections, row, cutoff, ladders[of_point == number], point)
        return whole

    def _counts(self, problem: Problem, ladders: Ints, cutoff: int, through: Bools) -> Ints:
        """(missed, stray) of each ladder (places from the top down) in a problem's profile."""
        accepted = problem.accepted(cutoff) & through[problem.profile.row_class][:, None]
        return counts_of(ladders, accepted, *problem.rows, problem.policy.stop_after)

    def _offer(
        self, selections: Selections, row: int, cutoff: int, ladders: Ints, point: Point
    ) -> None:
        """Offer the ladder that stands drift best to the staircase, with the cutoff that serves it.

        `ladders`, in the order of preference, all come to the same point.
        """
        reached = Counts(*point)
        excess = self.problem.excess(reached)
        if excess:
            return
        through = selections.unpack(np.array([row]))[0]
        guarded, alike = self._guarded, self.problem.alike(cutoff)
        drifted = np.array([self._counts(guarded, ladders, c, through) for c in alike])
        losses = np.round(
            drifted @ (guarded.policy.loss.missed, guarded.policy.loss.stray), _DIGITS
        )
        number = int(losses.min(axis=0).argmin())
        best = int(losses[:, number].argmin())
        missed, stray = drifted[best, number].tolist()
        places = ladders[number].tolist()
        work = (float(selections.masks), float(cutoff > 0), float(len(places)))
        rest = (*work, *map(float, places), float(selections.bits[row]))
        key = (excess, self.problem.loss(reached), guarded.loss(Counts(missed, stray)), *rest)
        levels, chain = tuple(places[::-1]), selections.chain(row)
        self.staircase.offer(Answer(key, chain, alike[best], levels, reached))

    # the sweep

    def start(self) -> None:
        """A good staircase to begin with: some chains and cutoffs, for several weights."""
        outcomes = self.problem.outcomes
        spread = np.unique(np.linspace(0, len(outcomes) - 1, _CUTOFFS).astype(int))
        for cutoff in outcomes[spread].tolist():
            self._look(self.chains.listed(0), self._branch(cutoff, (1, 1)))
        if self.problem.slots:
            for missed in _STARTS:
                policy = replace(self.problem.policy, loss=Loss(missed, 1.0))
                weighed = replace(self.problem, policy=policy)
                starts = Starts(weighed, self.chains)
                for masks in range(1, self.problem.slots + 1):
                    for selections, cutoff in starts.promising(masks):
                        self._look(selections, self._branch(cutoff, (1, 1)))

    def prove(self) -> None:
        """Raise floors, edge after edge, until every corner is settled."""
        self._proving = True
        while not self.chains.reaches(self.slots):
            self.slots -= 1
        if self.chains.number(_ALL, self.problem.slots) <= _ALL:
            self._look_at_all()
        while open_ := self.open():
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

    def _look_at_all(self) -> None:
        """Look at every chain, of which there are few, under each cutoff; then none is missing."""
        floors = self.floors.setdefault((1, 1), np.zeros(len(self.problem.thresholds), np.int64))
        for cutoff in self.problem.outcomes.tolist():
            branch = self._branch(cutoff, (1, 1))
            for masks in range(self.problem.slots + 1):
                self._look(self.chains.listed(masks), branch)
            floors[cutoff] = _NO_STRATEGY

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
        """Raise the floor of each cutoff above a value, where that settles anything."""
        cutoffs = len(self.problem.thresholds)
        floors = self.floors.setdefault(weights, np.zeros(cutoffs, np.int64))
        for cutoff in self.problem.outcomes.tolist():
            if floors[cutoff] > value:
                continue
            if all(self.settled(corner, cutoff) for corner in self.staircase.corners()):
                continue
            self._cover(self._branch(cutoff, weights), value, floors)

    def _branch(self, cutoff: int, weights: Weights) -> Branch:
        aim = Aim(Measure(float(weights[0]), float(weights[1])), 0.0, excess=False, step=1.0)
        branch = Branch(self.layout, aim, cutoff, self._every, self._must, clock=self.clock)
        branch.take(self._tables.weighed(cutoff, aim.measure))
        return branch

    def _cover(self, whole: Branch, value: int, floors: Ints) -> None:
        """Look at whatever under a cutoff is not above a value, then raise its floor."""
        whole.raise_bound(value)
        if whole.bound > value:
            floors[whole.cutoff] = min(whole.bound, _NO_STRATEGY)
            return
        waiting = [whole]
        while waiting:
            if self.clock.expired():
                raise OutOfTimeError
            branch = waiting.pop()
            self.branches += 1
            branch.tighten(value)  # from here on its bound holds for what is not above the value
            if branch.bound > value or self._explore(branch, value):
                continue
            parts = branch.split()
            if not parts:
                raise TooManyLeftError
            waiting += parts
        floors[whole.cutoff] = value + 1

    def _explore(self, branch: Branch, value: int) -> bool:
        """Look at the chains of a branch that its bounds leave; False: better split it."""
        many = np.inf if branch.must.all() else _MANY * (50 + len(branch.state))
        cuts = branch.penalties()
        for masks in range(self.slots + 1):
            limit = self._limit(branch, masks, value)
            sample = self.chains.sample(masks)
            left = sample
            for cut in cuts:
                left = cut.within(left, limit)
            if len(left) > _FEW:
                cuts = strongest([*cuts, *branch.cuts(left, limit)], sample, limit)
            try:
                selections = self.chains.worth(cuts, limit, masks)
            except TooManyLeftError:
                return False
            if len(selections) > _FEW:
                selections = branch.sieve(selections, limit)
            if len(selections) > many:
                return False
            self._look(selections, branch, limit)
        return True

    def _limit(self, branch: Branch, masks: int, value: int) -> float:
        """The value above which a strategy of the branch with so many masks cannot be new."""
        corners = self.staircase.open_to(0.0, float(masks), float(branch.cutoff > 0), 1.0)
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
