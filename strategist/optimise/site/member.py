"""A read point as a member of a site: what it loses at least, and exactly, with parts given.

The masks to choose from are those of all read points of its reader (`joint`), since what one of
them needs the others must bear; its own classes are those of them that it presents.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.finish import finish
from strategist.optimise.goals import LossGoal
from strategist.optimise.outer import choose_score
from strategist.optimise.problem import Answer, Chain, Counts, Problem, answer_at
from strategist.optimise.scores import Parts, over, parts_of
from strategist.optimise.search import least_loss, search
from strategist.optimise.site.asked import Alternative
from strategist.optimise.site.given import with_cutoff, with_ladder, with_masks, with_steps
from strategist.optimise.strategy import Strategy
from strategist.optimise.tree import Tree
from strategist.optimise.tuning import DEFAULT, Tuning
from strategist.survey.copies import Sample
from strategist.survey.records import Bools, Floats, Ints, Tag
from strategist.survey.score import Difference
from strategist.tags.candidates import Candidates, find_candidates, no_candidates

_SLACK = 1e-6
_LADDERS_MAX = 1_500  # that are all replayed sooner than searched
_Cuts = tuple[float, list[tuple[float, Floats]]]

__all__ = ["Exact", "Given", "Member", "members_of"]


@dataclass(frozen=True)
class Given:
    """Parts of a strategy that are given: `selection` (row of a table of selections, with `masks`
    masks), `least` RSSI that counts, `ladder` (dBm), `steps` at most. None: to be chosen."""

    selection: int | None = None
    masks: int = 0
    least: float | None = None
    ladder: tuple[float, ...] | None = None
    steps: int | None = None


@dataclass(frozen=True, eq=False)
class Exact:
    """The least of a member: excess over its limits, loss, guarded loss; `answer` has them, to a
    `problem` that is what is left of `whole` (None: to report nothing)."""

    excess: float
    loss: float
    guarded: float = 0.0
    whole: Problem | None = None
    problem: Problem | None = None
    answer: Answer | None = None
    scale: float = 1.0

    @property
    def weighed(self) -> float:
        """The loss over as many passes as others of the read point have."""
        return self.loss * self.scale

    @property
    def key(self) -> tuple[float, float, float]:
        return self.excess, self.loss, self.guarded

    @property
    def silent(self) -> bool:
        return self.answer is None

    @property
    def steps(self) -> int:
        return 0 if self.answer is None else len(self.answer.levels)


def members_of(
    points: Sequence[Alternative],
    beside: Sequence[Tag] = (),
    tuning: Tuning = DEFAULT,
) -> tuple[Candidates, tuple[Member, ...]]:
    """Read points, and the masks of all of them to choose from, and of tags that others present.
    Raises what `pose` raises."""
    every = {*beside, *(tag for one in points for tag in one.survey.tags)}
    tags = tuple(sorted(every, key=lambda tag: (tag.epc, tag.tid or "", tag.user or "")))
    place = {tag: number for number, tag in enumerate(tags)}
    first = points[0].policy
    masked = all("masks" in one.policy.allow and one.policy.reader.mask_slots for one in points)
    if masked:
        joint = find_candidates(tags, first.reader, serial_masks=first.serial_masks)
    else:
        joint = no_candidates(tags)
    members = []
    for one in points:
        klass = joint.tag_class[[place[tag] for tag in one.survey.tags]]
        classes, own = np.unique(klass, return_inverse=True)
        candidates = replace(joint, matches=joint.matches[:, classes], tag_class=own)
        parts = parts_of(one.survey, one.policy, tuning, candidates)
        members.append(Member(parts, classes, one.scale, one.nothing))
    return joint, tuple(members)


@dataclass(eq=False)
class Member:
    """The `parts` of a read point (one for each score), and which joint classes are its own;
    `scale` times its loss is what counts beside others. With an option that no strategy is better
    than silence with, it is `given_up`: what counts is the silence of the read point without it."""

    parts: Parts
    classes: Ints
    scale: float = 1.0
    given_up: tuple[float, float] | None = None
    clock: Clock = field(default_factory=Clock)
    _exact: dict[tuple[object, ...], Exact] = field(default_factory=dict)
    _cuts: dict[tuple[int, int, tuple[float, ...] | None], _Cuts] = field(default_factory=dict)
    _tables: dict[tuple[int, int, bool], list[Ints] | None] = field(default_factory=dict)
    searches: int = 0

    def freed(self, one: Alternative) -> Member:
        """The read point where what a rule may discard costs nothing."""
        assert one.free_below is not None
        sample = Sample(one.survey, np.ones(len(one.survey.pass_ids), np.int64), one.free_below)
        parts = over(self.parts, sample)
        return Member(parts, self.classes, self.scale, self.given_up, self.clock)

    @property
    def problem(self) -> Problem:
        return self.parts.parts[0].problem

    @cached_property
    def silence(self) -> Exact:
        excess, loss = self.problem.silence
        return Exact(excess, loss, scale=self.scale)

    @cached_property
    def nothing(self) -> Exact:
        """What counts where it reports nothing."""
        if self.given_up is None:
            return self.silence
        excess, loss = self.given_up
        return Exact(excess, loss / self.scale, scale=self.scale)

    @cached_property
    def alone(self) -> tuple[Exact, tuple[float, float]]:
        """The best of its own, and a bound (excess, loss) of all; to report nothing is one."""
        found = choose_score(self.parts, self.clock, None).found
        answer = found.answer
        whole = found.part.problem
        best = self._as_exact(answer, whole, whole)
        bound, nothing = answer.bound, self.nothing.key[:2]
        if self.silence.key[:2] <= bound:
            return self.nothing, nothing
        if min(self.silence.key, self.nothing.key)[:2] <= best.key[:2]:
            best = self.nothing
        return best, min(bound, nothing)

    @property
    def floor(self) -> tuple[float, float]:
        """The bound of all, as it counts beside others."""
        excess, loss = self.alone[1]
        return excess, self.scale * loss

    def place(self, problem: Problem, least: float) -> int | None:
        """The cutoff index of a problem at which reads of `least` and above count; None: none
        are."""
        if np.isneginf(least):
            return 0
        number = int(np.searchsorted(problem.thresholds, least))
        if number >= len(problem.thresholds):
            return None
        return 0 if number == 1 and least <= problem.below[1] else number

    def ladder_of(self, levels_dbm: tuple[float, ...]) -> tuple[int, ...] | None:
        """The level indices of a ladder; None where one is not to be chosen here."""
        own = self.problem.profile.levels_dbm.tolist()
        if any(level not in own for level in levels_dbm):
            return None
        return tuple(own.index(level) for level in levels_dbm)

    def bounds(
        self,
        through: Bools | None,
        least: float | None,
        ladder: tuple[float, ...] | None,
        target: float,
    ) -> Floats:
        """What it loses at least, for each selection of joint classes (shape (rows, classes));
        without selections: whatever it selects (shape (1,)).

        `target` is a loss that need not be told from higher ones.
        """
        own = None if through is None else through[:, self.classes].astype(float)
        found = np.full(1 if own is None else len(own), self.silence.loss)
        if ladder is not None and self.ladder_of(ladder) is None:
            return np.full(len(found), self.nothing.loss)
        for number, part in enumerate(self.parts.parts):
            problem = part.problem
            if least is not None and isinstance(problem.score, Difference):
                continue
            if least is None:
                cutoffs = problem.outcomes.tolist()
            else:
                place = self.place(problem, least)
                if place is None:
                    continue
                outcomes = problem.outcomes
                cutoffs = [int(outcomes[np.searchsorted(outcomes, place)])]
            for cutoff in cutoffs:
                of_all, cuts = self._cuts_of(number, cutoff, ladder, target)
                lower = np.full(len(found), of_all)
                if own is not None:
                    for base, weight in cuts:
                        np.maximum(lower, base + own @ weight - _SLACK, out=lower)
                np.minimum(found, lower, out=found)
        none = self.nothing.loss
        return np.minimum(np.where(found < self.silence.loss, found, none), none)

    def _cuts_of(
        self, number: int, cutoff: int, ladder: tuple[float, ...] | None, target: float
    ) -> _Cuts:
        """A bound under a cutoff, and bounds linear in the own classes (see `tree`)."""
        key = (number, cutoff, ladder)
        if key not in self._cuts:
            problem = self.parts.parts[number].problem
            if ladder is not None:
                levels = self.ladder_of(ladder)
                assert levels is not None
                problem = with_ladder(problem, levels)
            self.clock.check()
            tree = Tree(problem, self.clock)
            goal = LossGoal(problem, tree.layout)
            node = tree.node(cutoff, goal.aim(None), tree.layout)
            node.raise_bound(target)
            cuts = [(cut.base, cut.weight) for cut in node.penalties()]
            self._cuts[key] = node.bound, cuts
        return self._cuts[key]

    def least(self, given: Given, through: Bools | None) -> Exact:
        """The least with some parts given, proven. `through` is the selection that is given, over
        the joint classes. Raises OutOfTimeError."""
        own = None if through is None else through[self.classes]
        key = (
            None if own is None else (own.tobytes(), given.masks),
            given.least,
            given.ladder,
            given.steps,
        )
        if key not in self._exact:
            best = self.silence
            for part in self.parts.parts:
                found = self._least_of(part.problem, given, own)
                if found is not None and found.key[:2] < best.key[:2]:
                    best = found
            if best is self.silence or self.nothing.key[:2] <= best.key[:2]:
                best = self.nothing
            self._exact[key] = best
        return self._exact[key]

    def _least_of(self, whole: Problem, given: Given, own: Bools | None) -> Exact | None:
        """The least in one part; None: nothing that is given may be chosen there."""
        if own is not None and (given.masks >= len(whole.steps_by_masks) or not own.any()):
            return None
        if given.least is not None and self._deaf(whole, given.least):
            return None
        ladders: list[tuple[int, ...]] | None = None
        steps = whole.steps_by_masks[given.masks if own is not None else 0]
        if given.ladder is not None:
            ladder = self.ladder_of(given.ladder)
            if ladder is None or len(ladder) > min(steps, given.steps or steps):
                return None
            if whole.top_fixed and ladder[-1] != self._top(whole):
                return None
            ladders = [ladder]
        self.clock.check()
        self.searches += 1
        if own is not None and given.least is not None:
            tables = _by_length(ladders) if ladders else self._ladders(whole, given, steps)
            if tables is not None:
                return self._replayed(whole, given, own, tables)
        problem = self._left(whole, given, own)
        answer = least_loss(problem, self.clock)
        if not answer.proven:
            raise OutOfTimeError
        return self._as_exact(answer, whole, problem)

    def _deaf(self, whole: Problem, least: float) -> bool:
        """Whether nothing is heard under a cutoff that is the reader's: a difference of antennas
        has another one, in the host."""
        return isinstance(whole.score, Difference) or self.place(whole, least) is None

    def _left(self, whole: Problem, given: Given, own: Bools | None) -> Problem:
        """What is left to choose."""
        problem = whole
        if given.least is not None:
            problem = with_cutoff(problem, given.least)
        if own is not None:
            problem = with_masks(problem, own, given.masks)
        if given.ladder is not None:
            ladder = self.ladder_of(given.ladder)
            assert ladder is not None
            problem = with_ladder(problem, ladder)
        elif given.steps is not None:
            problem = with_steps(problem, given.steps)
        return problem

    def _ladders(self, whole: Problem, given: Given, steps: int) -> list[Ints] | None:
        """All ladders that are left, by length; None: they are sooner searched."""
        levels, most = len(whole.profile.levels_dbm), min(steps, given.steps or steps)
        key = (levels, most, whole.top_fixed)
        if key not in self._tables:
            count = sum(math.comb(levels, n) for n in range(1, most + 1))
            every = (
                ladder
                for n in range(1, most + 1)
                for ladder in itertools.combinations(range(levels), n)
                if not whole.top_fixed or ladder[-1] == levels - 1
            )
            self._tables[key] = None if count > _LADDERS_MAX else _by_length(every)
        return self._tables[key]

    def _replayed(
        self, whole: Problem, given: Given, own: Bools, tables: Sequence[Ints]
    ) -> Exact | None:
        """The best of some ladders where masks and cutoff are given: no search is needed."""
        assert given.least is not None
        best: tuple[tuple[float, float], tuple[int, ...], Counts] | None = None
        for ladders in tables:
            counts = whole.counts(ladders, given.least, own)
            for place in self._promising(whole, counts):
                found = Counts(*map(int, counts[place]))
                key = (whole.excess(found), whole.loss(found))
                if best is None or key < best[0]:
                    best = key, tuple(ladders[place][::-1].tolist()), found
        if best is None:
            return None
        (excess, loss), levels, found = best
        answer = Answer((excess, loss, 0.0), Chain(), 0, levels, found, bound=(excess, loss))
        return Exact(excess, loss, 0.0, whole, None, answer, self.scale)

    @staticmethod
    def _promising(whole: Problem, counts: Ints) -> Sequence[int]:
        """The rows that may be best: that of least loss alone, where there are no limits."""
        limits, weights = whole.policy.limits, whole.policy.loss
        if limits.missed_rate_max is None and limits.stray_rate_max is None:
            return [int((counts @ (weights.missed, weights.stray)).argmin())]
        places: list[int] = np.unique(counts, axis=0, return_index=True)[1].tolist()
        return places

    def finished(
        self,
        given: Given,
        chain: Chain | None,
        cutoff: float | None,
        of: Exact,
        through: Bools | None = None,
        *,
        polish: bool = False,
    ) -> Exact:
        """As an answer to the `whole`; `chain` and `cutoff` (None: none) are what stands for what
        is given, and `through` the selection. `polish`: of all that have its loss the one of least
        guarded loss."""
        whole, found = of.whole, of.answer
        if whole is None or found is None:
            return of
        problem = of.problem or whole
        if polish:
            own = None if through is None else through[self.classes]
            problem = of.problem or self._left(whole, given, own)
            found = search(problem, self.clock, of.answer if of.problem else None)
        levels = problem.profile.levels_dbm[list(found.levels)]
        at = tuple(np.searchsorted(whole.profile.levels_dbm, levels).tolist())
        place: int | None = found.cutoff
        if given.least is not None:
            place = 0 if cutoff is None else self.place(whole, cutoff)
        assert place is not None
        full = answer_at(whole, found.chain if chain is None else chain, place, at)
        if polish and full.key[:2] > of.key[:2]:  # the clock stopped it before it was as good
            return self.finished(given, chain, cutoff, of, through)
        return self._as_exact(full, whole, whole)

    def strategy(self, given: Given, cutoff: float | None, of: Exact) -> Strategy | None:
        """What is finished, in the survey's own units; None: to report nothing."""
        if of.whole is None or of.answer is None:
            return None
        strategy, _ = finish(of.whole, of.answer)
        return strategy if given.least is None else replace(strategy, cutoff_dbm=cutoff)

    @staticmethod
    def _top(problem: Problem) -> int:
        return len(problem.profile.levels_dbm) - 1

    def _as_exact(self, answer: Answer, whole: Problem, problem: Problem) -> Exact:
        excess, loss, guarded = answer.key[:3]
        return Exact(excess, loss, guarded, whole, problem, answer, self.scale)


def _by_length(ladders: Iterable[tuple[int, ...]]) -> list[Ints]:
    """Ladders (level indices, ascending) by length, a row each from the top down."""
    found: dict[int, list[tuple[int, ...]]] = defaultdict(list)
    for ladder in ladders:
        found[len(ladder)].append(ladder[::-1])
    return [np.array(some) for some in found.values()]
