"""The exact search: cutoffs and steps are branched on, chains and ladders pruned by bounds.

A branch is a cutoff, with some levels settled as steps of the ladder. Branches are taken by least
bound; what cannot beat the best strategy so far is dropped. In those that stay a bound linear in
the classes weighs every chain with one matrix product, a bound for whole ladders those that are
left, and ladders are replayed last. What is cut off is never better, so the end is a proof.

There are two goals, one after the other: the least excess and loss; then, among the strategies
that have it, the least guarded loss and what else tells equal ones apart.

Where chains are many, they are taken by length towards the first goal, stage after stage, over the
same branches: what chains of up to k masks come to is known before longer ones are listed. Bounds
of branches know nothing of chains, so they hold for any length. Where the chains of a stage are too
many to list, or to look at in a branch that cannot be split, the branch stays open with its bound;
the best strategy found is kept, and chains near it are tried one mask further.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Iterator
from functools import cached_property

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
from strategist.optimise.selections import Selections, grow, of_chain
from strategist.optimise.starts import Starts
from strategist.survey.records import Bools, Floats

__all__ = ["Search", "search"]

_DIGITS = 6
_MANY = 200  # chains left in a branch that are worth splitting it, times (50 + classes)
_FEW = 150  # chains in all that are sooner weighed one by one than bounded together
_AT_ONCE = 2_000  # selections bounded between two looks at the clock
_LIGHT = 5e7  # ways to make chains of one length that need no stage of their own
_TURNS = 1_000  # ladders begun between two looks at the clock
_PATIENCE = 20_000  # ladders replayed for the second goal, then it is left unproven

Bound = tuple[float, float]


def search(problem: Problem, clock: Clock, known: Answer | None = None) -> Answer:
    """The most preferred strategy of the problem, proven unless the clock runs out or chains are
    too many to list; then it is the best one found, with the true bound.

    `known` is a strategy of the problem to begin with: the answer is none that is worse.
    """
    run = Search(problem, clock.without_reserve(), known, clock.reserve)
    still_open = run.find_loss()
    return run.answer(still_open, 0.0 if still_open else run.find_guarded())


class Search:
    def __init__(
        self, problem: Problem, clock: Clock, known: Answer | None = None, reserve: float = 0.0
    ) -> None:
        self.problem = problem
        self.clock = clock
        self.reserve = reserve  # seconds beside the clock's for what is tried without proof
        self.layout = Layout(problem)
        self.goal: Goal = LossGoal(problem, self.layout)
        self.caps = measures(problem)[1:]
        self.chains = Chains(problem, clock)
        self.best: Answer | None = None
        self.mark: tuple[float, ...] = ()
        self.floor: Bound = (0.0, 0.0)
        self.branches = 0
        self.weighed = 0
        self.replayed = 0
        self._taken = 0  # ladders replayed for this goal
        self._heap: list[tuple[Bound, int, int, Branch]] = []
        self._order = itertools.count()
        self._few: dict[int, bool] = {}
        self.longest = problem.slots  # chains of more masks wait for a later stage
        self._waiting: list[tuple[Bound, Branch]] = []  # looked at as far as this stage goes
        self._stuck: list[tuple[Bound, Branch]] = []  # can neither be listed nor split
        self._tied: list[Branch] = []  # may hold strategies with the loss of the best
        self._climbed: set[tuple[Answer, int]] = set()  # what was climbed from, and how far
        self._sought: list[Answer] = []  # the best of beams of up to so many masks
        self._found: Answer | None = None  # the best of all beams, also of one that was left
        self._begun: set[int] = set()  # cutoffs whose branches were made anew for the loss
        if known is not None:
            self._set(known)

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

        turns = itertools.count(1)

        def hopeless(bounds: tuple[float, ...], places: tuple[int, ...]) -> bool:
            if next(turns) % _TURNS == 0:
                self.clock.check()
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
                self._set(found)

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
        """Reach the first goal; else: a bound of what is still open."""
        try:
            self.start()
            self._try_ahead()
            still_open = self._prove_by_length()
        except OutOfTimeError:
            still_open = self.floor
        self._know(self._found)
        return self._open(still_open)

    def _prove_by_length(self) -> Bound | None:
        """Chains of no mask, of one, and so on; a bound of what could not be looked at.

        What is done up to a length depends on nothing longer: with one slot more it is the same.
        """
        for longest in range(self.problem.slots + 1):
            reached = self._reach(longest)
            self._know(self._seek(max(longest, self._light)))
            self._climb(longest)
            if reached < longest:
                self.longest = longest
                self._resume()
                return self._raise_floor()
            self.longest = longest
            self._resume()
            self.prove()
        return min((at for at, _ in self._stuck), default=None)

    def _resume(self) -> None:
        """Take up what waited for this stage, and what was stuck with another aim."""
        again = [one for one in self._stuck if one[1].aim != self._aim()]
        self._stuck = [one for one in self._stuck if one[1].aim == self._aim()]
        for bound, branch in (*self._waiting, *again):
            stage = 2 if branch.tight else 0
            heapq.heappush(self._heap, (bound, next(self._order), stage, branch))
        self._waiting = []

    @cached_property
    def _light(self) -> int:
        """The most masks of chains that are not many to look at; beams of so many come first."""
        return max(n for n in range(self.problem.slots + 1) if n < 2 or not self._are_many(n))

    def _are_many(self, masks: int) -> bool:
        """Whether the chains of so many masks are many to look at, whatever the slots."""
        return 2.0 ** (masks - 1) * float(len(self.chains.table)) ** masks > _LIGHT

    @property
    def _are_few(self) -> bool:
        """Whether the chains of this stage are sooner weighed one by one."""
        if self.longest not in self._few:
            self._few[self.longest] = self.chains.number(_FEW, self.longest) <= _FEW
        return self._few[self.longest]

    def _open(self, bound: Bound | None) -> Bound | None:
        """A bound of what is open, where that could beat the best."""
        return None if bound is None or self.hopeless(*bound, 0) else bound

    def start(self) -> None:
        """A first bound of each cutoff, and a good strategy: without masks, then with some.

        The first is found whatever the clock says.
        """
        for cutoff in self.problem.outcomes.tolist():
            if self.best is not None:
                self.clock.check()
            branch = self._branch(cutoff)
            self._ladders(self.chains.listed(0), 0, branch, likely=True)
            if branch.aim == self._aim():
                branch.raise_bound(self._target(branch), 1)
            self._push(0, branch)
        self.floor = self._heap[0][0]

    def _try_ahead(self) -> None:
        """Beams of every length, by length, in a time of their own."""
        assert self.best is not None
        self._sought, proof = [self.best], self.clock
        if not self.reserve:
            return
        with proof.stopped():
            self.clock = self.chains.clock = Clock(self.reserve, now=proof.now)
            try:
                self._seek(self.problem.slots)
            except OutOfTimeError:
                pass
            finally:
                self.clock = self.chains.clock = proof

    @cached_property
    def _starts(self) -> Starts:
        return Starts(self.problem, self.chains)

    def _seek(self, masks: int) -> Answer:
        """The best of the beams of up to so many masks, climbed from.

        It depends on nothing that the proof has found, so it is the same whenever it is asked for.
        """
        while len(self._sought) <= masks:
            proven, longest = self.best, len(self._sought)
            self._set(self._sought[-1])
            try:
                for selections, cutoff in self._starts.promising(longest):
                    self._look(selections, self._branch(cutoff))
                self._climb(longest)
                assert self.best is not None
                self._sought.append(self.best)
            finally:
                found, self.best = self.best, self._found
                self._know(found)
                self._found = self.best
                self._set(proven)
        return self._sought[masks]

    def _set(self, best: Answer | None) -> None:
        self.best = best
        self.mark = () if best is None else self.goal.mark(best)

    def _know(self, found: Answer | None) -> None:
        """Take an answer for the best where it is better."""
        if found is None:
            return
        best = self.best
        if best is None or (found.key, found.chain.rank) < (best.key, best.chain.rank):
            self._set(found)

    def _climb(self, longest: int) -> None:
        """Where chains are many: try what is near the best strategy, one mask more, or one in place
        of another, up to a number of masks."""
        if not self._are_many(longest):
            return
        while (self.best, longest) not in self._climbed:
            before = self.best
            assert before is not None
            kept = before.chain.literals
            near = [before.chain, *(before.chain.without(i) for i in range(len(kept)))]
            branch = self._branch(self.problem.alike(self._outcome(before.cutoff))[-1])
            for chain in near:
                if len(chain.literals) >= longest:
                    continue
                base = of_chain(self.problem, chain, self.chains.table)
                more = grow(base, base.words, self.chains.table, self.clock)
                assert more is not None
                self._look(more, branch)
            self._climbed.add((before, longest))

    def _outcome(self, cutoff: int) -> int:
        """The cutoff that stands for those with the same outcome in the survey."""
        outcomes = self.problem.outcomes
        return int(outcomes[np.searchsorted(outcomes, cutoff)])

    def _raise_floor(self) -> Bound | None:
        """Split branches whose chains are not listed as long as that raises the least bound."""
        while self._heap:
            bound, _, _, branch = heapq.heappop(self._heap)
            lowest = min([bound, *(at for at, _ in self._stuck)])
            self._raise(lowest)
            if self.hopeless(*lowest, 0):
                self._tied += [branch, *(one[-1] for one in self._heap)]
                self._tied += [one for _, one in self._stuck]
            if self.hopeless(*lowest, 0) or lowest < bound:
                return lowest
            self.clock.check()
            self.branches += 1
            if branch.aim != self._aim():
                self._begin_anew(branch.cutoff)
                continue
            parts = branch.split()
            if not parts:
                return bound
            for part in parts:
                part.tighten(self._target(branch))
                self._push(2, part)
        return min((at for at, _ in self._stuck), default=None)

    def find_guarded(self) -> float | None:
        """Reach the second goal, once the first is proven; else: a bound of what is still open."""
        assert self.best is not None
        goal = GuardedGoal(self.problem, self.best)
        self.goal, self.mark = goal, goal.mark(self.best)
        self._heap, self._waiting, self._stuck = [], [], []
        self.floor = (goal.excess, 0.0)
        self._taken = 0
        tied = [one for one in self._tied if one.aim.excess or one.bound <= self.best.key[1]]
        picked = of_chain(self.problem, self.best.chain, self.chains.table)
        try:
            self.longest = self._reach(self.problem.slots)
            for one in tied:
                if one.even and len(one.even) > self.longest and not any(map(len, one.even)):
                    continue  # all were weighed, and none is as good
                for cutoff in self.problem.alike(one.cutoff):
                    branch = goal.branch(one, cutoff)
                    self._ladders(picked, 0, branch, likely=True)
                    branch.raise_bound(self._target(branch), 1)
                    self._push(0, branch)
            self.prove()
            left = [at for at, _ in (*self._stuck, *self._waiting)]
            still_open = self._open(min(left, default=None))
        except OutOfTimeError:
            still_open = self.floor
        return None if still_open is None else goal.guarded(still_open[1])

    def _reach(self, longest: int) -> int:
        """The most masks, up to so many, of chains that can all be looked at."""
        return max(n for n in range(longest + 1) if self.chains.reaches(n))

    def _aim(self) -> Aim:
        return self.goal.aim(self.best)

    def _branch(self, cutoff: int) -> Branch:
        every = np.arange(len(self.problem.profile.levels_dbm))
        must = (every == every[-1]) & self.problem.top_fixed
        return Branch(self.goal.layout, self._aim(), cutoff, every, must, clock=self.clock)

    def _bound(self, branch: Branch) -> Bound:
        excess = branch.bound if branch.aim.excess else self.goal.excess
        return excess, 0.0 if branch.aim.excess else branch.bound

    def _push(self, stage: int, branch: Branch) -> None:
        branch.rest()
        heapq.heappush(self._heap, (self._bound(branch), next(self._order), stage, branch))

    def _raise(self, bound: Bound) -> None:
        """Nothing open is below a bound, in this stage or a later one."""
        aside = min((at for at, _ in (*self._waiting, *self._stuck)), default=bound)
        self.floor = max(self.floor, min(bound, aside))

    def prove(self) -> None:
        """Work off the branches, as far as this stage goes. Raises OutOfTimeError."""
        while self._heap:
            bound, _, stage, branch = heapq.heappop(self._heap)
            if self.hopeless(*bound):
                self._heap = []
                return
            self._raise(bound)
            self.clock.check()
            if self.hopeless(*bound, 0, float(branch.cutoff > 0), 1):
                self._tied.append(branch)
            else:
                self.branches += 1
                self._work_on(branch, stage)

    def _work_on(self, branch: Branch, stage: int) -> None:
        """Take a branch one stage further: raise its bound, tighten it, explore or split it."""
        if branch.aim != self._aim():
            self._begin_anew(branch.cutoff)
            return
        target = self._target(branch)
        if self._are_few:
            self._look_at_all(branch)
        elif stage == 0:
            branch.raise_bound(target)
            self._push(1, branch)
        elif stage == 1:
            branch.tighten(target)
            branch.tight = True
            self._push(2, branch)
        elif self._explore(branch):
            branch.even = None  # longer chains were not weighed one and all
            self._looked_at(branch)
        else:
            self._split(branch)

    def _begin_anew(self, cutoff: int) -> None:
        """The whole cutoff again, once, for the aim that is now."""
        if cutoff not in self._begun:
            self._begun.add(cutoff)
            self._push(0, self._branch(cutoff))

    def _split(self, branch: Branch) -> None:
        parts = branch.split()
        if not parts:
            branch.rest()
            self._stuck.append((self._bound(branch), branch))
        for part in parts:
            part.raise_bound(self._target(branch), 1)
            self._push(1, part)

    def _look_at_all(self, branch: Branch) -> None:
        """Look at every chain, of which there are few, with the ladders of a branch."""
        even = list(branch.even or ())
        for masks in range(branch.done + 1, self.longest + 1):
            if masks == len(even):
                even.append(self.chains.listed(masks))
            even[masks] = self._look(even[masks], branch)
        branch.even = tuple(even)
        self._looked_at(branch)

    def _looked_at(self, branch: Branch) -> None:
        """Done with a branch for this stage; strategies with the loss of the best may be in it."""
        branch.rest()
        branch.done = self.longest
        if self.longest < self.problem.slots:
            self._waiting.append((self._bound(branch), branch))
        else:
            self._tied.append(branch)

    def _target(self, branch: Branch) -> float:
        """The value of the branch's aim that the best strategy has."""
        return self.mark[0] if branch.aim.excess else self.mark[1]

    def _explore(self, branch: Branch) -> bool:
        """Look at the chains of a branch that its bounds leave; False: better split it."""
        many = np.inf if branch.must.all() else _MANY * (50 + len(branch.state))
        cuts = self._cuts(branch)
        for masks in range(branch.done + 1, self.longest + 1):
            limit = self._limit(branch, masks)
            try:
                selections = branch.sieve(self.chains.worth(cuts, limit, masks), limit)
            except TooManyLeftError:
                return False
            if len(selections) > many:
                return False
            self._look(selections, branch)
            branch.done = masks
        return True

    def _cuts(self, branch: Branch) -> list[Penalties]:
        """Linear bounds aimed at the longest chains of the stage; they hold for all."""
        limit, sample = self._limit(branch, 0), self.chains.sample(self.longest)
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
