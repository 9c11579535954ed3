"""The exact search: cutoffs and steps are branched on, chains and ladders pruned by bounds.

A branch is a cutoff, with some levels settled as steps of the ladder. Branches are taken by least
bound; what cannot beat the best strategy so far is dropped. In those that stay a bound linear in
the classes weighs every chain with one matrix product, a bound for whole ladders those that are
left, and ladders are replayed last. What is cut off is never better, so the end is a proof.

There are two goals, one after the other: the least excess and loss; then, among the strategies
that have it, the least guarded loss and what else tells equal ones apart.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Iterator

import numpy as np

from strategist.optimise.branch import Branch, Penalties, strongest
from strategist.optimise.cells import Layout
from strategist.optimise.chains import Chains, TooManyLeftError
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.goals import Goal, GuardedGoal, LossGoal
from strategist.optimise.kernel import Cells, best_ladder, bounds_of, step_costs
from strategist.optimise.ladders import in_order, steps_of
from strategist.optimise.measures import Aim, measures
from strategist.optimise.problem import Answer, Counts, Problem, value, walk
from strategist.optimise.selections import Selections, TooManySelectionsError
from strategist.optimise.starts import Starts
from strategist.survey.records import Bools, Floats

__all__ = ["FEW", "Search", "search"]

_DIGITS = 6
_MANY = 200  # chains left in a branch that are worth splitting it, times (50 + classes)
FEW = 150  # chains in all that are sooner weighed one by one than bounded together
_AT_ONCE = 2_000  # selections bounded between two looks at the clock
_PATIENCE = 20_000  # ladders replayed for the second goal, then it is left unproven

Bound = tuple[float, float]


def search(problem: Problem, clock: Clock) -> Answer:
    """The most preferred strategy of the problem, proven unless the clock runs out.

    Raises TooManySelectionsError where listing the chains is out of the question.
    """
    run = Search(problem, clock)
    still_open = run.find_loss()
    return run.answer(still_open, 0.0 if still_open else run.find_guarded())


class Search:
    def __init__(self, problem: Problem, clock: Clock) -> None:
        self.problem = problem
        self.clock = clock
        self.layout = Layout(problem)
        self.goal: Goal = LossGoal(problem, self.layout)
        self.caps = measures(problem)[1:]
        self.chains = Chains(problem)
        self.best: Answer | None = None
        self.mark: tuple[float, ...] = ()
        self.floor: Bound = (0.0, 0.0)
        self.branches = 0
        self.weighed = 0
        self.replayed = 0
        self._taken = 0  # ladders replayed for this goal
        self._heap: list[tuple[Bound, int, int, Branch]] = []
        self._order = itertools.count()
        self._tied: list[Branch] = []  # may hold strategies with the loss of the best
        self._picked: Selections | None = None  # that of the best, as one row

    # what the best strategy so far leaves possible

    def hopeless(self, *key: float) -> bool:
        """Whether a strategy that the goal ranks no lower than `key` cannot beat the best."""
        return self.best is not None and key > self.mark[: len(key)]

    def excess(self, bounds: Floats) -> Floats:
        """Least excess over the hard limits; `bounds` has one entry a cap, after the goal's own."""
        over = np.zeros(bounds.shape[1:])
        for measure, bound in zip(self.caps, bounds[1:], strict=True):
            over += np.maximum(0.0, bound / measure.per - measure.cap)
        excess: Floats = np.round(over, _DIGITS)
        return excess

    def _as_good(self, bounds: Floats) -> Bools:
        """Which selections could be as good as the best, or better, by excess and measure."""
        excess, least = self.excess(bounds), np.round(bounds[0], _DIGITS)
        if self.best is None:
            return np.ones(least.shape, bool)
        best_excess, best = self.mark[:2]
        even: Bools = (excess < best_excess) | ((excess == best_excess) & (least <= best))
        return even

    def _could_win(self, bounds: Floats, masks: int) -> Bools:
        """Which of those that are as good could beat the best, given their number of masks."""
        if self.best is None or masks <= self.mark[2]:
            return np.ones(bounds.shape[1], bool)
        tied = (self.excess(bounds) == self.mark[0]) & (
            np.round(bounds[0], _DIGITS) == self.mark[1]
        )
        could: Bools = ~tied
        return could

    # looking at selections one by one

    def _look(self, selections: Selections, branch: Branch) -> Selections:
        """Replay what could beat the best, of some selections, with the ladders of a branch.

        Returns those that may be as good as the best was.
        """
        even = np.zeros(len(selections), bool)
        for start in range(0, len(selections), _AT_ONCE):
            part = np.arange(start, min(start + _AT_ONCE, len(selections)))
            even[part] = self._look_at(selections.at(part), branch)
        return selections.at(np.flatnonzero(even))

    def _look_at(self, selections: Selections, branch: Branch) -> Bools:
        policy, steps = self.problem.policy, self.problem.steps_by_masks[selections.masks]
        rows = np.arange(len(selections))
        bounds = np.zeros((0, len(rows)))
        self.weighed += len(rows)
        for number, cells in enumerate(self._tables(branch)):
            if self.best is not None and self.clock.expired():
                raise OutOfTimeError
            limit = np.inf
            if number == 0 and self.best is not None and self.goal.is_settled(self.best):
                limit = self.mark[1]
            state = selections.unpack(rows).astype(np.int64)
            found = bounds_of(state, cells, policy.stop_after, steps, branch.must, limit)
            bounds = np.vstack([bounds, found])
            kept = np.round(found, _DIGITS) <= limit
            rows, bounds = rows[kept], bounds[:, kept]
        good = self._as_good(bounds)
        rows, bounds = rows[good], bounds[:, good]
        even = np.zeros(len(selections), bool)
        even[rows] = True
        could = self._could_win(bounds, selections.masks)
        rows, bounds = rows[could], bounds[:, could]
        excess, least = self.excess(bounds), np.round(bounds[0], _DIGITS)
        for position in np.lexsort((selections.bits[rows], least, excess)):
            begin = (float(excess[position]), float(least[position]))
            if self.hopeless(*begin):
                break  # sorted: what follows is no better
            if not self.hopeless(*begin, selections.masks, float(branch.cutoff > 0), 1):
                self._ladders(selections, int(rows[position]), branch)
        return even

    def _tables(self, branch: Branch) -> Iterator[Cells]:
        """The cells of the branch by what the goal minimises, then by what the limits cap."""
        yield branch.cells_by(self.goal.layout, self.goal.measure)
        for measure in self.caps:
            yield branch.cells_by(self.layout, measure)

    def _ladders(
        self, selections: Selections, row: int, branch: Branch, likely: bool = False
    ) -> None:
        """Replay the ladders of one selection, in order of preference, where bounds leave any.

        The one of least bound comes first: as a rule it is the best, and bounds leave few others.
        `likely`: that one alone.
        """
        problem, levels = self.problem, branch.levels
        most = problem.steps_by_masks[selections.masks]
        through = selections.unpack(np.array([row]))[0]
        state, stop_after = through.astype(np.int64), problem.policy.stop_after
        steps = tuple(
            steps_of(
                *step_costs(state, np.zeros(len(cells.klass)), cells, stop_after, branch.must)[:2],
                most,
            )
            for cells in self._tables(branch)
        )
        begin = (float(selections.masks), float(branch.cutoff > 0))
        replay = self._replayer(branch.cutoff, through)
        self.replayed += 1

        def hopeless(bounds: tuple[float, ...], places: tuple[int, ...]) -> bool:
            excess = float(self.excess(np.array(bounds)[:, None])[0]) if len(bounds) > 1 else 0.0
            excess = max(excess, self.goal.excess)
            return self.hopeless(excess, value(bounds[0]), *begin, count, *levels[list(places)])

        def take(ladder: tuple[int, ...]) -> None:
            self._patient()
            *counted, counts = replay(ladder)
            bits = float(selections.bits[row])
            key = (*counted, *begin, float(len(ladder)), *ladder[::-1], bits)
            found = Answer(key, selections.chain(row), branch.cutoff, ladder, counts)
            best = self.best
            if best is None or (key, found.chain.rank) < (best.key, best.chain.rank):
                self.best, self.mark = found, self.goal.mark(found)
                self._picked = selections.at(np.array([row]))

        _, places = best_ladder(steps[0].edge, steps[0].top, most, branch.must)
        take(tuple(levels[places].tolist()))
        tops = range(int(np.flatnonzero(branch.must).max(initial=0)), len(levels))
        for count in range(1, 1 if likely else most + 1):
            for downward in in_order(steps, count, tops, hopeless):
                take(tuple(levels[list(downward[::-1])].tolist()))

    def _patient(self) -> None:
        """Raises OutOfTimeError where a ladder more would be too many, or too late."""
        self._taken += 1
        if self.best is None:
            return
        if self.clock.expired() or (self.goal.limited and self._taken > _PATIENCE):
            raise OutOfTimeError

    def _replayer(
        self, cutoff: int, through: Bools
    ) -> Callable[[tuple[int, ...]], tuple[float, float, float, Counts]]:
        """What a ladder comes to: excess, loss, guarded loss (inf where it cannot matter)."""
        problem, guarded = self.problem, self.problem.under_guard()
        rows = through[problem.profile.row_class][:, None]
        accepted, drifted = (one.accepted(cutoff) & rows for one in (problem, guarded))

        def replay(ladder: tuple[int, ...]) -> tuple[float, float, float, Counts]:
            counts = walk(problem, accepted, ladder)
            begin = (problem.excess(counts), problem.loss(counts))
            if self.best is not None and begin > self.best.key[:2]:
                return *begin, np.inf, counts
            return *begin, problem.loss(walk(guarded, drifted, ladder)), counts

        return replay

    # the search

    def find_loss(self) -> Bound | None:
        """Reach the first goal; if time runs out: a bound of what is still open.

        Raises TooManySelectionsError where listing the chains is out of the question.
        """
        try:
            self.start()
            return self.prove()
        except OutOfTimeError:
            return self.floor

    def start(self) -> None:
        """A first bound of each cutoff, and a good strategy: without masks, then with some.

        The first is found whatever the clock says.
        """
        for cutoff in self.problem.outcomes.tolist():
            branch = self._branch(cutoff)
            self._ladders(self.chains.listed(0), 0, branch, likely=True)
            if branch.aim == self._aim():
                branch.raise_bound(self._target(branch), 1)
            self._push(0, branch)
        self.floor = self._heap[0][0]
        if self.problem.slots:
            for selections, cutoff in Starts(self.problem, self.chains).promising():
                self._look(selections, self._branch(cutoff))

    def find_guarded(self) -> float | None:
        """Reach the second goal, once the first is proven; else: a bound of what is still open."""
        assert self.best is not None and self._picked is not None
        goal = GuardedGoal(self.problem, self.best)
        self.goal, self.mark, self._heap = goal, goal.mark(self.best), []
        self.floor = (goal.excess, 0.0)
        self._taken = 0
        tied = [one for one in self._tied if one.aim.excess or one.bound <= self.best.key[1]]
        try:
            for one in tied:
                if one.even is not None and not any(map(len, one.even)):
                    continue  # all were weighed, and none is as good
                for cutoff in self.problem.alike(one.cutoff):
                    branch = goal.branch(one, cutoff)
                    self._ladders(self._picked, 0, branch, likely=True)
                    branch.raise_bound(self._target(branch), 1)
                    self._push(0, branch)
            still_open = self.prove()
        except (OutOfTimeError, TooManySelectionsError):
            still_open = self.floor
        return None if still_open is None else goal.guarded(still_open[1])

    def _aim(self) -> Aim:
        return self.goal.aim(self.best)

    def _branch(self, cutoff: int) -> Branch:
        every = np.arange(len(self.problem.profile.levels_dbm))
        must = (every == every[-1]) & self.problem.top_fixed
        return Branch(self.goal.layout, self._aim(), cutoff, every, must)

    def _push(self, stage: int, branch: Branch) -> None:
        branch.rest()
        excess = branch.bound if branch.aim.excess else self.goal.excess
        bound = (excess, 0.0 if branch.aim.excess else branch.bound)
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
            if self.hopeless(*bound, 0, float(branch.cutoff > 0), 1):
                self._tied.append(branch)
            else:
                self.branches += 1
                self._work_on(branch, stage)
        return None

    def _work_on(self, branch: Branch, stage: int) -> None:
        """Take a branch one stage further: raise its bound, tighten it, explore or split it."""
        if branch.aim != self._aim():
            self._push(0, self._branch(branch.cutoff))
            return
        target = self._target(branch)
        if self.chains.number(FEW) <= FEW:
            self._look_at_all(branch)
        elif stage == 0:
            branch.raise_bound(target)
            self._push(1, branch)
        elif stage == 1:
            branch.tighten(target)
            self._push(2, branch)
        elif self._explore(branch):
            self._looked_at(branch)
        else:
            parts = branch.split()
            if not parts:
                raise TooManySelectionsError("one ladder leaves too many mask chains to be listed")
            for part in parts:
                part.raise_bound(target, 1)
                self._push(1, part)

    def _look_at_all(self, branch: Branch) -> None:
        """Look at every chain, of which there are few, with the ladders of a branch."""
        if branch.even is None:
            branch.even = tuple(map(self.chains.listed, range(self.problem.slots + 1)))
        branch.even = tuple(self._look(selections, branch) for selections in branch.even)
        self._looked_at(branch)

    def _looked_at(self, branch: Branch) -> None:
        """Done with a branch for this goal; strategies with the loss of the best may be in it."""
        branch.rest()
        self._tied.append(branch)

    def _target(self, branch: Branch) -> float:
        """The value of the branch's aim that the best strategy has."""
        return self.mark[0] if branch.aim.excess else self.mark[1]

    def _explore(self, branch: Branch) -> bool:
        """Look at the chains of a branch that its bounds leave; False: better split it."""
        many = np.inf if branch.must.all() else _MANY * (50 + len(branch.state))
        cuts = self._cuts(branch)
        for masks in range(self.problem.slots + 1):
            limit = self._limit(branch, masks)
            try:
                selections = branch.sieve(self.chains.worth(cuts, limit, masks), limit)
            except TooManyLeftError:
                return False
            if len(selections) > many:
                return False
            self._look(selections, branch)
        return True

    def _cuts(self, branch: Branch) -> list[Penalties]:
        """Linear bounds aimed at the chains that use every slot; they hold for shorter ones too."""
        limit, sample = self._limit(branch, 0), self.chains.sample(self.problem.slots)
        cuts, left = branch.penalties(), sample
        for cut in cuts:
            left = cut.within(left, limit)
        return strongest([*cuts, *branch.cuts(left, limit)], sample, limit)

    def _limit(self, branch: Branch, masks: int) -> float:
        """The bound above which a strategy of the branch with so many masks cannot win."""
        limit = self._target(branch) + branch.aim.offset
        key = (*self.mark[:2], masks, float(branch.cutoff > 0), max(1, int(branch.must.sum())))
        ties = branch.aim.excess or not self.hopeless(*key)
        return limit if ties else limit - branch.aim.step

    def answer(self, still_open: Bound | None, guarded_open: float | None) -> Answer:
        """The best with its bounds; what is open bounds what was not looked at (None: nothing)."""
        assert self.best is not None  # the first pair is looked at whatever the clock says
        effort = {"branches": self.branches, "chains": self.weighed, "replayed": self.replayed}
        return self.best.bounded(still_open, guarded_open, **effort)
