"""The exact search: cutoffs and steps are branched on, chains and ladders pruned by bounds.

A branch is a cutoff, with some levels settled as steps of the ladder. Branches are taken by least
bound; what cannot beat the best strategy so far is dropped. In those that stay a bound linear in
the classes weighs every chain with one matrix product, a bound for whole ladders those that are
left, and ladders are replayed last. What is cut off is never better, so the end is a proof.
"""

from __future__ import annotations

import heapq
import itertools
import time
from dataclasses import dataclass, field

import numpy as np

from strategist.optimise.branch import Branch, strongest
from strategist.optimise.cells import Layout
from strategist.optimise.chains import Chains, TooManyLeftError
from strategist.optimise.kernel import bounds_of, step_costs
from strategist.optimise.ladders import in_order, steps_of
from strategist.optimise.measures import Aim, aim_at, measures
from strategist.optimise.problem import Answer, Problem, value, walk
from strategist.optimise.selections import Selections, TooManySelectionsError
from strategist.optimise.starts import Starts
from strategist.survey.records import Bools, Floats

__all__ = ["Clock", "search"]

_DIGITS = 6
_MANY = 200  # chains left in a branch that are worth splitting it, times (50 + classes)
_AT_ONCE = 2_000  # selections bounded between two looks at the clock

Bound = tuple[float, float]


class _OutOfTimeError(Exception):
    """The clock ran out."""


@dataclass(frozen=True)
class Clock:
    """Seconds allowed (None: no limit), counted from its making."""

    seconds: float | None = None
    started: float = field(default_factory=time.monotonic)

    @property
    def spent(self) -> float:
        return time.monotonic() - self.started

    def expired(self) -> bool:
        return self.seconds is not None and self.spent >= self.seconds


def search(problem: Problem, clock: Clock) -> Answer:
    """The most preferred strategy of the problem, proven unless the clock runs out.

    Raises TooManySelectionsError where listing the chains is out of the question.
    """
    run = _Search(problem, clock)
    try:
        run.start()
        still_open: Bound | None = run.prove()
    except _OutOfTimeError:
        still_open = run.floor
    return run.answer(still_open)


class _Search:
    def __init__(self, problem: Problem, clock: Clock) -> None:
        self.problem = problem
        self.clock = clock
        self.layout = Layout(problem)
        self.measures = measures(problem)
        self.chains = Chains(problem)
        self.best: Answer | None = None
        self.floor: Bound = (0.0, 0.0)
        self.branches = 0
        self.weighed = 0
        self.replayed = 0
        self._heap: list[tuple[Bound, int, int, Branch]] = []
        self._order = itertools.count()

    # what the best strategy so far leaves possible

    def hopeless(self, *key: float) -> bool:
        """Whether a strategy whose key begins no lower than `key` cannot beat the best."""
        return self.best is not None and key > self.best.key[: len(key)]

    def excess(self, bounds: Floats) -> Floats:
        """Least excess over the hard limits; `bounds` has one entry a measure, the loss first."""
        over = np.zeros(bounds.shape[1:])
        for measure, bound in zip(self.measures[1:], bounds[1:], strict=True):
            over += np.maximum(0.0, bound / measure.per - measure.cap)
        excess: Floats = np.round(over, _DIGITS)
        return excess

    def _could_win(self, bounds: Floats, masks: int) -> Bools:
        """Which selections could beat the best, given their bounds."""
        excess, loss = self.excess(bounds), np.round(bounds[0], _DIGITS)
        if self.best is None:
            return np.ones(loss.shape, bool)
        best_excess, best_loss, best_masks = self.best.key[:3]
        as_good = (loss < best_loss) | ((loss == best_loss) & (masks <= best_masks))
        could: Bools = (excess < best_excess) | ((excess == best_excess) & as_good)
        return could

    # looking at selections one by one

    def _look(self, selections: Selections, branch: Branch) -> None:
        """Replay what could beat the best, of some selections, with the ladders of a branch."""
        for start in range(0, len(selections), _AT_ONCE):
            part = np.arange(start, min(start + _AT_ONCE, len(selections)))
            self._look_at(selections.at(part), branch)

    def _look_at(self, selections: Selections, branch: Branch) -> None:
        policy, steps = self.problem.policy, self.problem.steps_by_masks[selections.masks]
        rows = np.arange(len(selections))
        bounds = np.zeros((0, len(rows)))
        self.weighed += len(rows)
        for number, measure in enumerate(self.measures):
            if self.best is not None and self.clock.expired():
                raise _OutOfTimeError
            feasible = self.best is not None and self.best.key[0] == 0 and number == 0
            limit = self.best.key[1] if self.best is not None and feasible else np.inf
            state = selections.unpack(rows).astype(np.int64)
            cells = branch.cells_by(measure)
            found = bounds_of(state, cells, policy.stop_after, steps, branch.must, limit)
            bounds = np.vstack([bounds, found])
            kept = np.round(found, _DIGITS) <= limit
            rows, bounds = rows[kept], bounds[:, kept]
        could = self._could_win(bounds, selections.masks)
        rows, bounds = rows[could], bounds[:, could]
        excess, loss = self.excess(bounds), np.round(bounds[0], _DIGITS)
        for position in np.lexsort((selections.bits[rows], loss, excess)):
            begin = (float(excess[position]), float(loss[position]))
            if self.hopeless(*begin):
                break  # sorted: what follows is no better
            if not self.hopeless(*begin, selections.masks, float(branch.cutoff > 0), 1):
                self._ladders(selections, int(rows[position]), branch)

    def _ladders(self, selections: Selections, row: int, branch: Branch) -> None:
        """Replay the ladders of one selection, in order of preference, where bounds leave any."""
        problem, levels = self.problem, branch.levels
        most = problem.steps_by_masks[selections.masks]
        through = selections.unpack(np.array([row]))[0]
        none = np.zeros(len(self.layout.klass))
        state, stop_after = through.astype(np.int64), problem.policy.stop_after
        steps = tuple(
            steps_of(
                *step_costs(state, none, branch.cells_by(measure), stop_after, branch.must)[:2],
                most,
            )
            for measure in self.measures
        )
        accepted = problem.accepted(branch.cutoff) & through[problem.profile.row_class][:, None]
        begin = (float(selections.masks), float(branch.cutoff > 0))
        self.replayed += 1

        def hopeless(bounds: tuple[float, ...], places: tuple[int, ...]) -> bool:
            excess = float(self.excess(np.array(bounds)[:, None])[0]) if len(bounds) > 1 else 0.0
            return self.hopeless(excess, value(bounds[0]), *begin, count, *levels[list(places)])

        tops = range(int(np.flatnonzero(branch.must).max(initial=0)), len(levels))
        for count in range(1, most + 1):
            for places in in_order(steps, count, tops, hopeless):
                ladder = tuple(int(level) for level in levels[list(places)])
                counts = walk(problem, accepted, ladder[::-1])
                key = (
                    problem.excess(counts),
                    problem.loss(counts),
                    *begin,
                    float(count),
                    *ladder,
                    float(selections.bits[row]),
                )
                found = Answer(key, selections.chain(row), branch.cutoff, ladder[::-1], counts)
                if self.best is None or (key, found.chain.rank) < (
                    self.best.key,
                    self.best.chain.rank,
                ):
                    self.best = found

    # the search

    def start(self) -> None:
        """A first bound of each cutoff, and a good strategy: without masks, then with some."""
        for cutoff in range(len(self.problem.thresholds)):
            branch = self._branch(cutoff)
            self._look(self.chains.listed(0), branch)
            if branch.aim == self._aim():
                branch.raise_bound(self._target(branch), 1)
            self._push(0, branch)
        self.floor = self._heap[0][0]
        if self.problem.slots:
            for selections, cutoff in Starts(self.problem, self.chains).promising():
                self._look(selections, self._branch(cutoff))

    def _aim(self) -> Aim:
        return aim_at(self.measures, 0.0 if self.best is None else self.best.key[0])

    def _branch(self, cutoff: int) -> Branch:
        every = np.arange(len(self.problem.profile.levels_dbm))
        must = (every == every[-1]) & self.problem.top_fixed
        return Branch(self.layout, self._aim(), cutoff, every, must)

    def _push(self, stage: int, branch: Branch) -> None:
        branch.rest()
        bound = (branch.bound, 0.0) if branch.aim.excess else (0.0, branch.bound)
        heapq.heappush(self._heap, (bound, next(self._order), stage, branch))

    def prove(self) -> Bound | None:
        """Work off the branches; if time runs out: a bound of what is still open."""
        while self._heap:
            bound, _, stage, branch = heapq.heappop(self._heap)
            if self.hopeless(*bound):
                return None
            self.floor = bound
            if self.clock.expired():
                return bound
            if not self.hopeless(*bound, 0, float(branch.cutoff > 0), 1):
                self.branches += 1
                self._work_on(branch, stage)
        return None

    def _work_on(self, branch: Branch, stage: int) -> None:
        """Take a branch one stage further: raise its bound, tighten it, explore or split it."""
        if branch.aim != self._aim():
            self._push(0, self._branch(branch.cutoff))
            return
        target = self._target(branch)
        if stage == 0:
            branch.raise_bound(target)
            self._push(1, branch)
        elif stage == 1:
            branch.tighten(target)
            self._push(2, branch)
        elif not self._explore(branch):
            parts = branch.split()
            if not parts:
                raise TooManySelectionsError("one ladder leaves too many mask chains to be listed")
            for part in parts:
                part.raise_bound(target, 1)
                self._push(1, part)

    def _target(self, branch: Branch) -> float:
        """The value of the branch's aim that the best strategy has."""
        assert self.best is not None
        return self.best.key[0] if branch.aim.excess else self.best.key[1]

    def _explore(self, branch: Branch) -> bool:
        """Look at the chains of a branch that its bounds leave; False: better split it."""
        many = np.inf if branch.must.all() else _MANY * (50 + len(branch.state))
        cuts = branch.penalties()
        for masks in range(self.problem.slots + 1):
            limit = self._limit(branch, masks)
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
            self._look(selections, branch)
        return True

    def _limit(self, branch: Branch, masks: int) -> float:
        """The bound above which a strategy of the branch with so many masks cannot win."""
        assert self.best is not None
        limit = self._target(branch) + branch.aim.offset
        key = (*self.best.key[:2], masks, float(branch.cutoff > 0), max(1, int(branch.must.sum())))
        ties = branch.aim.excess or not self.hopeless(*key)
        return limit if ties else limit - branch.aim.step

    def answer(self, still_open: Bound | None) -> Answer:
        """The best with its bound; `still_open` bounds what was not looked at (None: nothing)."""
        assert self.best is not None  # the first pair is looked at whatever the clock says
        return self.best.bounded(
            still_open, branches=self.branches, chains=self.weighed, replayed=self.replayed
        )
