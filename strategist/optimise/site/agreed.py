r"""The best of several read points on one reader that must agree in masks, cutoff or ladder.

Let v be a value of what is shared (a mask chain, a cutoff, a ladder, or several of these) and
g_p(v) the least loss of read point p under it, over all that p may still choose. The best is

\min_v \sum_p g_p(v), and no strategies that agree are below \sum_p \min_v g_p(v).

Values are few where one is listed for each selection of tags that chains make and for each range
of cutoffs. Bounds of nodes (see `tree`) are linear in the tag classes, so for all chains at once a
matrix product bounds \sum_p g_p(v) from below. Values are then taken by that bound; g_p(v) is the
exact search with v given; the first bound that is not below the best found is the proof.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.problem import Chain, value
from strategist.optimise.site.member import Exact, Given, Member
from strategist.optimise.site.values import Range, Table, cutoffs_of, ladders_of, settable
from strategist.survey.records import Bools
from strategist.survey.site import SharedPart
from strategist.tags.candidates import Candidates

__all__ = ["Agreed", "Cycle", "agree"]

_LADDERS_MAX = 4_000  # that are listed; beyond, only those that a member would choose
_KEPT = 12  # of the values looked at, beside the best
_SAME = 1e-6


@dataclass(frozen=True)
class Cycle:
    """How long a reader may take to walk all its ladders once, and what a step takes at each
    member with 0, 1, … masks (s)."""

    seconds: float
    step_s: tuple[tuple[float, ...], ...]


@dataclass(frozen=True, eq=False)
class Agreed:
    """Strategies that agree: what each member comes to under the same `given`, and the `chain` and
    `cutoff` that stand for what is shared, and the selection of joint classes `through` it."""

    given: tuple[Given, ...]
    chain: Chain | None
    cutoff: float | None
    members: tuple[Exact, ...]
    through: Bools | None = None

    @property
    def key(self) -> tuple[float, float]:
        return (
            value(sum(one.excess for one in self.members)),
            value(sum(one.weighed for one in self.members)),
        )


@dataclass(frozen=True, eq=False)
class Found:
    """The best that was found, others that are near, and a bound (excess, loss) of all that agree:
    proven where it is that of the best."""

    best: Agreed
    others: tuple[Agreed, ...]
    bound: tuple[float, float]
    values: int

    @property
    def proven(self) -> bool:
        return self.bound >= self.best.key


def agree(
    joint: Candidates,
    members: Sequence[Member],
    shares: Sequence[SharedPart],
    clock: Clock,
    cycle: Cycle | None = None,
) -> Found:
    """The least summed excess and loss of members that agree in what is shared, proven unless the
    clock runs out or values are too many to list; then with the bound that is left.

    A member may report nothing, and then agrees with all.
    """
    return _Agreement(joint, members, shares, clock, cycle).run()


class _Agreement:
    """The values to look at, by bound, and the best so far."""

    def __init__(
        self,
        joint: Candidates,
        members: Sequence[Member],
        shares: Sequence[SharedPart],
        clock: Clock,
        cycle: Cycle | None,
    ) -> None:
        self.joint, self.members, self.clock, self.cycle = joint, members, clock, cycle
        self.shares = frozenset(shares)
        for member in members:
            member.clock = clock
        self.floor = self._sum([member.floor for member in members])
        silent = tuple(member.nothing for member in members)
        nothing = tuple(Given() for _ in members)
        self.best = Agreed(nothing, None, None, silent)
        self.looked: dict[tuple[object, ...], Agreed] = {}
        self.complete, self.listed = True, False

    def run(self) -> Found:
        bound = self.floor
        try:
            self._list()
            for row, cutoff, ladder in self._starts():
                self._look(row, cutoff, ladder)
            bound = self._prove() if self.complete else self._look_at_some()
        except OutOfTimeError:
            self._look_at_starts()
        bound = min(self.best.key, max(bound, self.floor))
        others = sorted(self.looked.values(), key=lambda one: one.key)
        near = [self._finished(one) for one in others if one is not self.best][:_KEPT]
        best = self._finished(self.best, polish=True)
        return Found(best, tuple(near), bound, len(self.looked))

    def _look_at_starts(self) -> None:
        """Where the clock ran out before anything was found: what each member would choose, for
        all, as far as no search is needed for that."""
        if len(self.looked) or not {"masks", "cutoff"} <= self.shares or not self.listed:
            return
        clocks = [member.clock for member in self.members]
        for member in self.members:
            member.clock = Clock()
        for row, cutoff, ladder in self._starts():
            self._look(row, cutoff, ladder)
        for member, clock in zip(self.members, clocks, strict=True):
            member.clock = clock

    def _finished(self, one: Agreed, *, polish: bool = False) -> Agreed:
        """With answers to the whole choice of each; `polish`: of least guarded loss."""
        every = zip(self.members, one.given, one.members, strict=True)
        members = [
            member.finished(given, one.chain, one.cutoff, exact, one.through, polish=polish)
            for member, given, exact in every
        ]
        return replace(one, members=tuple(members))

    def _list(self) -> None:
        """The values; None alone where a part is not shared."""
        self.table = Table(self.joint, self.members, self.clock)
        masks = "masks" in self.shares
        self.rows = self.table.through if masks else self.table.through[:1]
        self.cutoffs: list[Range | None] = [None]
        if "cutoff" in self.shares:
            self.cutoffs = [*cutoffs_of(self.members)]
        ladders: list[tuple[float, ...]] | None = []
        if "ladder" in self.shares:
            ladders = ladders_of(self.members, _LADDERS_MAX)
        self.complete = ladders is not None and (self.table.complete or not masks)
        own = dict.fromkeys(self._own_ladders())
        self.ladders: list[tuple[float, ...] | None] = [*(own if ladders is None else ladders)]
        self.ladders, self.listed = self.ladders or [None], True

    @staticmethod
    def _sum(keys: Sequence[tuple[float, float]]) -> tuple[float, float]:
        return value(sum(key[0] for key in keys)), value(sum(key[1] for key in keys))

    def _own_ladders(self) -> Iterator[tuple[float, ...]]:
        for member in self.members:
            alone = member.alone[0]
            if alone.answer is not None and alone.problem is not None:
                levels = alone.problem.profile.levels_dbm
                yield tuple(levels[list(alone.answer.levels)].tolist())

    def _starts(self) -> Iterator[tuple[int, Range | None, tuple[float, ...] | None]]:
        """What each member would choose, for all; and no masks, no cutoff."""
        own = list(dict.fromkeys(self._own_ladders()))
        ladders = [one for one in self.ladders if one is None or one in own] or self.ladders[:1]
        rows, cutoffs = {0}, {self.cutoffs[0]}
        for member in self.members:
            alone = member.alone[0]
            if alone.answer is None or alone.problem is None:
                continue
            if "masks" in self.shares:
                rows.add(self.table.row(alone.answer.chain))
            if "cutoff" in self.shares and alone.answer.cutoff:
                high = float(alone.problem.thresholds[alone.answer.cutoff])
                near = [c for c in self.cutoffs if c is not None and c[1] <= high]
                cutoffs.add(max(near))
        in_order = sorted(cutoffs, key=lambda one: one or (0.0, 0.0))
        yield from itertools.product(sorted(rows), in_order, ladders)

    def _prove(self) -> tuple[float, float]:
        """Look at every value that bounds leave; a bound of all."""
        alone = [member.floor[1] for member in self.members]
        heap: list[tuple[float, int, Range | None, tuple[float, ...] | None]] = []
        for cutoff, ladder in itertools.product(self.cutoffs, self.ladders):
            self.clock.check()
            lower = np.zeros(len(self.rows))
            for member, own in zip(self.members, alone, strict=True):
                room = max(own, self.best.key[1] - sum(alone) + own) / member.scale
                least = None if cutoff is None else cutoff[1]
                through = self.rows if "masks" in self.shares else None
                bounds = member.bounds(through, least, ladder, room)
                lower += np.maximum(member.scale * bounds, own)
            left = np.flatnonzero(lower < self._limit())
            heap += [(float(lower[row]), int(row), cutoff, ladder) for row in left]
        heap.sort(key=lambda one: one[0])
        for lower_bound, row, cutoff, ladder in heap:
            if lower_bound >= self._limit():
                break
            try:
                self._look(row, cutoff, ladder)
            except OutOfTimeError:
                return 0.0, value(max(0.0, lower_bound - _SAME))
        return self.best.key

    def _limit(self) -> float:
        """A bound that is as high leaves nothing better; infinite while limits are exceeded."""
        return self.best.key[1] - _SAME if self.best.key[0] <= 0 else math.inf

    def _look_at_some(self) -> tuple[float, float]:
        """Values are too many to list: those of the starts were looked at, and the bound is that
        of each for itself."""
        return self.floor

    def _look(self, row: int, cutoff: Range | None, ladder: tuple[float, ...] | None) -> None:
        """What all members come to under a value."""
        key = (row, cutoff, ladder)
        if key in self.looked:
            return
        chain, shared = self.table.chain(row), "masks" in self.shares
        masks = len(chain.literals)
        given = Given(
            row if shared else None,
            masks if shared else 0,
            None if cutoff is None else cutoff[1],
            ladder,
        )
        through = self.table.through[row] if shared else None
        found = self._within_cycle(given, through)
        if found is None:
            return
        every, exact = found
        reader = self.members[0].problem.policy.reader
        dbm = None if cutoff is None else settable(cutoff, reader.rssi_step_db)
        agreed = Agreed(every, chain if shared else None, dbm, exact, through)
        self.looked[key] = agreed
        if agreed.key < self.best.key:
            self.best = agreed

    def _within_cycle(
        self, given: Given, through: Bools | None
    ) -> tuple[tuple[Given, ...], tuple[Exact, ...]] | None:
        """The best of each; where the cycle is short, with as many steps each as serves all. None:
        some of them alone are as much as the best."""
        free: tuple[Exact, ...] = ()
        for number, member in enumerate(self.members):
            free = (*free, member.least(given, through))
            others = [one.floor for one in self.members[number + 1 :]]
            so_far = [(one.excess, one.weighed) for one in free]
            if others and self._sum([*so_far, *others]) >= self.best.key:
                return None
        if self.cycle is None or self._lasts(given, free) <= self.cycle.seconds + _SAME:
            return tuple(given for _ in free), free
        choices = []
        for member, most in zip(self.members, free, strict=True):
            fewer = [replace(given, steps=n) for n in range(1, most.steps)]
            found = [(one, member.least(one, through)) for one in fewer]
            choices.append([(given, member.nothing), *found, (given, most)])
        fitting = (
            some
            for some in itertools.product(*choices)
            if self._lasts(given, [one for _, one in some]) <= self.cycle.seconds + _SAME
        )
        best = min(
            fitting, key=lambda some: self._sum([(one.excess, one.weighed) for _, one in some])
        )
        return tuple(one for one, _ in best), tuple(one for _, one in best)

    def _lasts(self, given: Given, some: Sequence[Exact]) -> float:
        """Seconds to walk all ladders once."""
        assert self.cycle is not None
        total = 0.0
        for exact, step_s in zip(some, self.cycle.step_s, strict=True):
            if exact.answer is not None:
                masks = given.masks if given.selection is not None else None
                masks = len(exact.answer.chain.literals) if masks is None else masks
                total += exact.steps * step_s[masks]
        return total
