"""The search over scores: the search of each part, with the best of all parts as what to beat.

A part is a whole problem of its own (see `scores`), so the least over parts is the least of all,
and no strategy is below the least bound of the parts. What was found in one part is known to the
others as a *rival*: an answer with its key, that takes part in every comparison and is none of
their strategies. Most parts end where their cutoffs, relaxed, cannot come up to it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from strategist.optimise.archive import Bound
from strategist.optimise.chains import Chains
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.problem import Answer, Chain, Counts, Problem, answer_at
from strategist.optimise.progress import Reached, at_stage
from strategist.optimise.scores import Part, Parts
from strategist.optimise.search import Search
from strategist.survey.policy import Limits
from strategist.survey.records import Floats, Ints

__all__ = ["Chosen", "Found", "choose_score", "least_guarded", "likely", "rival_in"]


@dataclass(frozen=True, eq=False)
class Found:
    """A strategy, and the part that it belongs to."""

    part: Part
    answer: Answer

    @property
    def key(self) -> tuple[object, ...]:
        """What strategies of different parts are compared by, least first."""
        key = self.answer.key
        return (*key[:3], self.part.work, _in_dbm(self), self.answer.chain.rank, self.part.index)


def _in_dbm(found: Found) -> tuple[float, ...]:
    """The work of an answer, with levels in dBm in place of their indices."""
    masks, cutoff, steps, *rest = found.answer.key[3:]
    levels = found.part.problem.profile.levels_dbm[list(found.answer.levels[::-1])]
    return masks, cutoff, steps, *levels.tolist(), rest[-1]


@dataclass(frozen=True, eq=False)
class Chosen:
    """The best strategy of all parts with its bounds; of the parts, how many ended at the root."""

    found: Found
    at_root: int


def rival_in(part: Part, best: Found, near: Answer | None = None) -> Answer:
    """The best strategy of all parts, as an answer that strategies of one part are held against.

    Where it is of another part, its key says that it is preferred, or not, to one of this part with
    the same excess, loss and guarded loss. `near` is a strategy of this part to look near at.
    """
    if best.part is part:
        return best.answer
    first = best.answer.key[:3]
    if part.work != best.part.work:
        key = (*first, np.inf if part.work < best.part.work else -1.0)
    else:
        masks, cutoff, steps, *levels, bits = _in_dbm(best)
        own = part.problem.profile.levels_dbm
        places = np.searchsorted(own, levels)
        exact = np.append(own, np.inf)[places] == levels
        index = np.where(exact, places, places - 0.5).tolist()
        last = (np.inf,) if part.index < best.part.index else ()
        key = (*first, masks, cutoff, steps, *index, bits, *last)
    if near is not None:
        return replace(near, key=key)
    top = len(part.problem.profile.levels_dbm) - 1
    return Answer(key, Chain(), 0, (top,), Counts(0, 0))


def likely(problem: Problem) -> Answer:
    """The best strategy of a single level without masks: something to begin with."""
    profile = problem.profile
    levels = range(len(profile.levels_dbm))
    wanted, weight = profile.row_wanted, problem.row_weight
    best = None
    for level in levels[-1:] if problem.top_fixed else levels:
        order = np.argsort(profile.rssi[:, level], kind="stable")
        rssi, of_wanted = profile.rssi[order, level], wanted[order]
        rejected = np.searchsorted(rssi, np.maximum(problem.thresholds, np.finfo(float).min))
        lost = np.append(0, np.cumsum(np.where(of_wanted, weight[order], 0)))
        silenced = np.append(0, np.cumsum(np.where(of_wanted, 0, weight[order])))
        missed, stray = lost[rejected], silenced[-1] - silenced[rejected]
        rank = _rank(problem, missed, stray)
        cutoff = int(np.lexsort(rank[::-1])[0])
        found = (float(rank[0][cutoff]), float(rank[1][cutoff]), cutoff, level)
        best = found if best is None else min(best, found)
    assert best is not None
    return answer_at(problem, Chain(), best[2], (best[3],))


def _rank(problem: Problem, missed: Ints, stray: Ints) -> tuple[Floats, Floats]:
    """Excess and loss, as they are compared."""
    weights, limits = problem.policy.loss, problem.policy.limits
    over = np.zeros(len(missed))
    if limits.missed_rate_max is not None and problem.wanted:
        over += np.maximum(0.0, missed / problem.wanted - limits.missed_rate_max)
    if limits.stray_rate_max is not None:
        over += np.maximum(0.0, stray / problem.passes - limits.stray_rate_max)
    loss: Floats = weights.missed * missed + weights.stray * stray
    return np.round(over, 6), np.round(loss, 6)


class _Run:
    """The search of one part, with what is known of it."""

    def __init__(self, part: Part, first: Answer, now: Callable[[], float]) -> None:
        self.part = part
        self.first = first
        self.clock = Clock(None, now=now)
        self.search: Search | None = None
        self.open: Bound | None = (0.0, 0.0)  # nothing in it is below; None: nothing to look for

    def begin(self, best: Found, chains: Chains | None) -> Search:
        """The search, against the best of all parts."""
        if self.search is None:
            known = rival_in(self.part, best, self.first)
            self.search = Search(self.part.problem, self.clock, known, chains=chains)
        else:
            self.search.tree.set_clock(self.clock)
            self.search.best.know(rival_in(self.part, best, self.own))
        return self.search

    @property
    def own(self) -> Answer:
        """The best strategy of the part that its search knows of."""
        found = None if self.search is None else self.search.best.answer
        return self.first if found is None or is_rival(found, self.part) else found

    def allow(self, seconds: float | None) -> None:
        """The search may take so many seconds from now on."""
        self.clock.seconds = None if seconds is None else self.clock.spent + seconds


def is_rival(answer: Answer, part: Part) -> bool:
    """Whether an answer is a strategy of another part."""
    return answer_at(part.problem, answer.chain, answer.cutoff, answer.levels).key != answer.key


class Outer:
    """The parts, worked off one after the other."""

    def __init__(self, parts: Parts, clock: Clock, known: Found | None) -> None:
        self.clock = clock
        runs = [_Run(part, likely(part.problem), clock.now) for part in parts.parts]
        self.runs = sorted(runs, key=lambda run: Found(run.part, run.first).key)
        first = [Found(run.part, run.first) for run in self.runs[:1]]
        self.best = min([*first, *([known] if known else [])], key=lambda one: one.key)
        if known is not None:
            next(run for run in self.runs if run.part is known.part).first = known.answer
        self._chains: dict[int, Chains] = {}
        self.at_root = 0

    def choose(self, *, ties: bool = True) -> Chosen:
        """The best strategy of all parts, proven unless the clock runs out; without `ties` any of
        least excess and loss."""
        first, *rest = self.runs
        self._prove(first, 0.5 if rest else 1.0)
        for number, run in enumerate(rest):
            self._screen(run, 1.0 / (2 * (len(rest) - number)))
        still = sorted((run for run in rest if run.open is not None), key=_bound)
        self.at_root = len(rest) - len(still)
        for number, run in enumerate(still):
            if self._may_beat(run):
                self._prove(run, 1.0 / max(1, min(2, len(still) - number)))
            else:
                self.at_root += run.search is None or not run.search.tree.nodes
        bounds = [run.open for run in self.runs if run.open is not None and self._is_open(run)]
        still_open = min(bounds, default=None)
        guarded = self._find_guarded() if ties and still_open is None else 0.0
        effort: dict[str, int] = {}
        for run in self.runs:
            for name, count in (run.search.tree.effort if run.search else {}).items():
                effort[name] = effort.get(name, 0) + count
        answer = self.best.answer.bounded(still_open, guarded, **effort)
        return Chosen(Found(self.best.part, answer), self.at_root)

    def _share(self, share: float) -> float | None:
        left = self.clock.left
        return None if left is None else left * share

    def _chains_of(self, run: _Run) -> Chains:
        """Chains are the same for all parts with as many slots: what is listed once is known."""
        slots = run.part.problem.slots
        if slots not in self._chains:
            self._chains[slots] = Chains(run.part.problem, run.clock)
        return self._chains[slots]

    def _work(self, run: _Run, share: float, task: Callable[[Search], Bound | None]) -> None:
        """Take a part further; take its best where that is better than all."""
        run.allow(self._share(share))
        search = run.begin(self.best, self._chains_of(run))
        words = f"score {self.runs.index(run) + 1} of {len(self.runs)}"
        try:
            with at_stage(words, lambda reached: self._seen(run, reached)):
                run.open = task(search)
        except OutOfTimeError:
            run.open = search.run.floor
        self._take(run)
        search.tree.layout.forget()

    def _seen(self, at: _Run, reached: Reached) -> Reached:
        """What the search of a part says, as what is known of all parts."""
        others = [run.open for run in self.runs if run is not at and run.open is not None]
        least = min((loss for excess, loss in others if excess == 0), default=float("inf"))
        bound = None if reached.bound is None else min(reached.bound, least)
        return Reached(reached.loss, bound, reached.stage)

    def _take(self, run: _Run) -> None:
        found = Found(run.part, run.own)
        if found.key < self.best.key:
            self.best = found

    def _screen(self, run: _Run, share: float) -> None:
        self._work(run, share, lambda search: search.screen())

    def _prove(self, run: _Run, share: float) -> None:
        def task(search: Search) -> Bound | None:
            if run is self.runs[0]:
                search.reserve = 0.1 * (self._share(share) or 0.0)
            else:
                search.seeks = search.tree.problem.slots > 1
            return search.find_loss()

        self._work(run, share, task)

    def _may_beat(self, run: _Run) -> bool:
        """Whether a part may hold a strategy that is preferred to the best of all."""
        best = self.best
        if best.answer.key[2] == 0 and best.part.work < run.part.work:
            return self._is_open(run)  # none with the same loss stands drift better
        return run.open is not None and run.open <= best.answer.key[:2]

    def _is_open(self, run: _Run) -> bool:
        return run.open is not None and run.open < self.best.answer.key[:2]

    def _find_guarded(self) -> float | None:
        """The least guarded loss of those with the least loss; else: a bound of what is open."""
        excess_loss = self.best.answer.key[:2]
        tied = [
            run
            for run in self.runs
            if run.search is not None
            and run.search.run.tied
            and (self.best.answer.key[2] > 0 or run.part.work <= self.best.part.work)
        ]
        tied.sort(key=lambda run: Found(run.part, run.own).key)
        open_: list[float] = []
        for number, run in enumerate(tied):
            search = run.search
            assert search is not None
            run.allow(self._share(1.0 / max(1, min(3, len(tied) - number))))
            search.tree.set_clock(run.clock)
            near = run.own
            search.best.set(
                near
                if Found(run.part, near).key <= self.best.key
                else rival_in(run.part, self.best, near)
            )
            left = search.find_guarded()
            if left is not None:
                open_.append(left)
            self._take(run)
            assert self.best.answer.key[:2] == excess_loss
            search.tree.layout.forget()
        return min(open_) if open_ else None


def _bound(run: _Run) -> Bound:
    assert run.open is not None
    return run.open


def choose_score(parts: Parts, clock: Clock, known: Found | None = None) -> Chosen:
    """The most preferred strategy of all parts, proven unless the clock runs out; it is none that
    is worse than `known`."""
    return Outer(parts, clock, known).choose()


def least_guarded(parts: Parts, clock: Clock) -> float:
    """No strategy, whatever its loss and whether it keeps hard limits or not, has a guarded loss
    below this: the least there is, unless the clock runs out or chains are too many to list."""
    drifted = tuple(replace(part, problem=_drifted(part.problem)) for part in parts.parts)
    run = Outer(replace(parts, parts=drifted), clock, None)
    return run.choose(ties=False).found.answer.bound[1]


def _drifted(problem: Problem) -> Problem:
    """A problem whose loss is the guarded loss, without hard limits."""
    return replace(problem.under_guard(), policy=replace(problem.policy, limits=Limits()))
