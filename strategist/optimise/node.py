"""One node of the search: a cutoff and some steps of the ladder; chains and other steps are open.

The node is relaxed: a class of tags may be let through in one pass and not in the next, and a pass
that walks on may end at any level of the node. Lagrange multipliers of "the same in all passes"
pull the bound of the relaxation up, step by step along its subgradient. Then variables are fixed by
probing: classes in and out, and levels as steps, that the other way take the bound above the best
strategy so far. `tree` has the theorem.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strategist.optimise.cells import Layout
from strategist.optimise.clock import Clock
from strategist.optimise.kernel import (
    IN,
    OPEN,
    OUT,
    Cells,
    best_ladder,
    by_step,
    climb,
    cut_rounds,
    fix_by_probing,
    ladder_bound,
    penalties_of,
    relaxed,
    step_costs,
)
from strategist.optimise.measures import Aim, rounding
from strategist.optimise.selections import Selections
from strategist.optimise.tuning import Tuning
from strategist.survey.records import Bools, Floats, Ints

__all__ = ["Node", "Penalties", "strongest"]

_AGAIN = 0.25  # of a first step along the subgradient, once the bound has risen as far as it would
_PROBED = 500  # classes that are probed between two looks at the clock


@dataclass(frozen=True, eq=False)
class Penalties:
    """A bound that is linear in the classes: `base` + Σ `weight` over the classes let through.

    `fixed_in` and `fixed_out` are class indices; a selection that goes against them is out.
    """

    base: float
    weight: Floats
    fixed_in: Ints
    fixed_out: Ints

    def room(self, limit: float) -> tuple[Floats, float]:
        """(weight, room): a bound is above the limit for sure where Σ weight is above the room.

        What is fixed has weights that use up the room; the room allows for rounding.
        """
        weight = self.weight.copy()
        over = 2.0 * max(0.0, limit - self.base + float(np.maximum(0.0, -weight).sum())) + 1.0
        weight[self.fixed_in] = -over
        weight[self.fixed_out] = over
        base = self.base + over * len(self.fixed_in)
        slack = 1e-6 + rounding(abs(limit) + abs(base) + float(np.abs(weight).sum()))
        return weight, limit - base + slack

    def within(self, selections: Selections, limit: float) -> Selections:
        """The selections whose bound is not above the limit."""
        weight, room = self.room(limit)
        return selections.at(np.flatnonzero(selections.sums(weight) <= room))


class Node:
    """Ladders of some levels (ascending indices) under a cutoff, or several from `cutoff` to
    `highest`, relaxed (see `cells`).

    Those that `must` be are steps of every ladder, the others may be. What raises the bound may be
    left at any turn, and is left when the clock runs out.
    """

    def __init__(
        self, layout: Layout, aim: Aim, cutoff: int, levels: Ints, must: Bools, *, clock: Clock
    ) -> None:
        self.layout = layout
        self.tuning = layout.problem.tuning
        self.aim = aim
        self.cutoff = cutoff
        self.highest = cutoff  # of the cutoffs that the node stands for
        self.levels = levels
        self.must = must
        self.clock = clock
        self.done = -1  # chains of up to so many masks were looked at
        self.tight = False  # whether classes and levels were fixed
        self.even: list[Selections] = []  # what may be as good as the best, where all were weighed
        self.state = np.full(layout.problem.profile.classes, OPEN)
        self.multiplier = np.zeros(len(layout.klass))
        self.risen: float | None = None  # the bound by the multiplier, once it rose no more
        self.cut_multiplier: Floats | None = None  # where linear bounds were last found
        self.bound = 0.0

    @property
    def cells(self) -> Cells:
        """The tables of the node by its own aim."""
        return self.layout.cells(self.cutoff, self.levels, self.aim.measure, self.highest)

    def halves(self, cutoffs: Ints) -> list[Node]:
        """Two nodes for a node of several of the cutoffs; what is known of it holds for both."""
        inside = cutoffs[(cutoffs >= self.cutoff) & (cutoffs <= self.highest)]
        parts = []
        for some in np.array_split(inside, 2):
            part = Node(
                self.layout, self.aim, int(some[0]), self.levels, self.must, clock=self.clock
            )
            part.highest = int(some[-1])
            part.multiplier, part.bound, part.state = self.multiplier, self.bound, self.state.copy()
            part.cut_multiplier, part.even = self.cut_multiplier, list(self.even)
            part.done = -1 if any(map(len, self.even)) else self.done
            parts.append(part)
        return parts

    def _steps(self) -> tuple[Floats, Floats]:
        stop_after = self.layout.problem.policy.stop_after
        edge, top, _ = step_costs(self.state, self.multiplier, self.cells, stop_after, self.must)
        return edge, top

    def _ladder(self, multiplier: Floats) -> float:
        """The least bound of a ladder under a multiplier."""
        problem = self.layout.problem
        stop_after, steps_max = problem.policy.stop_after, problem.steps_max
        return ladder_bound(self.state, multiplier, self.cells, stop_after, steps_max, self.must)

    def split(self) -> list[Node]:
        """Two nodes, with and without a level as a step; none where all levels are settled.

        At first it is the step of the relaxed ladder that is hardest to do without; then those that
        could still be the top, since passes that nothing stops end there; then the others.
        """
        open_ = np.flatnonzero(~self.must)
        if not len(open_):
            return []
        final = int(np.flatnonzero(self.must).max(initial=-1))
        above = open_[open_ > final]
        if final >= 0 and len(above):
            place = int(above[0])
        else:
            edge, top = self._steps()
            steps_max = self.layout.problem.steps_max
            ladder = best_ladder(edge, top, steps_max, self.must)[1]
            likely = np.intersect1d(open_, ladder)
            likely = likely if len(likely) else open_
            without, _ = by_step(edge, top, steps_max, self.must, likely)
            place = int(likely[without.argmax()])
        must = self.must.copy()
        must[place] = True
        parts = [self._part(self.levels, must)]
        if len(self.levels) > 1:
            keep = np.arange(len(self.levels)) != place
            parts.append(self._part(self.levels[keep], self.must[keep]))
        return parts

    def _part(self, levels: Ints, must: Bools) -> Node:
        part = Node(self.layout, self.aim, self.cutoff, levels, must, clock=self.clock)
        part.multiplier, part.bound, part.state = self.multiplier, self.bound, self.state.copy()
        part.done, part.tight = self.done, self.tight
        return part

    def tighten(self, target: float) -> None:
        """Raise the bound and fix classes and levels, as long as one helps the other."""
        self.raise_bound(target)
        while self.bound <= target and not self.clock.expired():
            settled = self.settle_levels(target)
            fixed = self.fix_classes(target)
            if not (fixed or settled):
                return
            before = self.bound
            self.raise_bound(target, self.tuning.rounds // 3)
            if self.bound <= before:
                return

    def raise_bound(self, target: float, rounds: int | None = None) -> None:
        """Go along the subgradient until the bound is above the target, or rises no more; nowhere
        where it had risen as far as it would and what was fixed since adds nothing to it."""
        goal, tuning = target + self.aim.offset, self.tuning
        most = tuning.rounds if rounds is None else rounds
        if most == 1:  # without a way to go
            self.bound = max(self.bound, self.aim.rounded(self._ladder(self.multiplier)))
            return
        if self.risen is not None and self._ladder(self.multiplier) <= self.risen + 1e-9:
            return
        at_once = max(1, tuning.turns // max(1, self.cells.gain.size))
        enough, kept = self.aim.above(target), self.multiplier.copy()
        first = 1.0 if self.risen is None else _AGAIN
        self.risen = None
        multiplier, reached = self.multiplier.copy(), np.array([first, 0.0, -np.inf])
        for start in range(0, most, at_once):
            if self.clock.expired():
                break
            at_most = min(at_once, most - start)
            way = multiplier, kept, self.cells, *self._limits(), enough, goal
            if climb(self.state, *way, *self._patience(), at_most, reached):
                if reached[2] < enough:
                    self.risen = float(reached[2])
                break
        self.multiplier = kept
        self.bound = max(self.bound, self.aim.rounded(float(reached[2])))

    def _limits(self) -> tuple[int, int, Bools]:
        """What ladders keep to."""
        problem = self.layout.problem
        return problem.policy.stop_after, problem.steps_max, self.must

    def _patience(self) -> tuple[float, int, float]:
        tuning = self.tuning
        return tuning.over, tuning.stale, tuning.least_step

    def fix_classes(self, target: float) -> bool:
        """Fix what, tried the other way, takes the bound above the target; whether any was."""
        problem, fixed = self.layout.problem, False
        stop_after, steps_max = problem.policy.stop_after, problem.steps_max
        limit, open_ = self.aim.above(target), np.flatnonzero(self.state == OPEN)
        for start in range(0, len(open_), _PROBED):
            if self.clock.expired():
                break
            some = open_[start : start + _PROBED]
            fixed |= fix_by_probing(
                self.state,
                some,
                self.multiplier,
                self.cells,
                stop_after,
                steps_max,
                self.must,
                limit,
            )
        return fixed

    def settle_levels(self, target: float) -> bool:
        """Settle levels that must be steps, and drop those that cannot; whether there were any."""
        edge, top = self._steps()
        steps_max, limit = self.layout.problem.steps_max, self.aim.above(target)
        keep, must = np.ones(len(self.levels), bool), self.must.copy()
        open_ = np.flatnonzero(~must)
        at_once = max(1, self.tuning.turns // (steps_max * len(keep) ** 2))
        for start in range(0, len(open_), at_once):
            if self.clock.expired():
                break
            some = open_[start : start + at_once]
            without, within = by_step(edge, top, steps_max, self.must, some)
            must[some] = without >= limit
            keep[some] = (without >= limit) | (within < limit)
        if keep.all() and (must == self.must).all():
            return False
        self.levels, self.must = self.levels[keep], must[keep]
        return True

    def penalties(self) -> list[Penalties]:
        """Cuts from several multipliers: bounds linear in the classes, for every selection."""
        raised = self.multiplier
        level = self._evened(np.full(len(self.layout.start) - 1, -1))
        ladder = self._evened(self._relaxed()[2])
        return [
            self._penalties(multiplier)
            for multiplier in (level, raised, ladder, (raised + level) / 2)
        ]

    def sieve(self, selections: Selections, limit: float) -> Selections:
        """The selections that no linear bound takes above the limit.

        The bounds are found on a sample of the selections, then taken to all of them, as long as
        that thins them out.
        """
        while len(selections) > self.tuning.sieved:
            left = selections
            for cut in self.cuts(selections, limit):
                left = cut.within(left, limit)
            thinned, selections = len(left) < self.tuning.thinned * len(selections), left
            if not thinned:
                break
        return selections

    def cuts(self, selections: Selections, limit: float) -> list[Penalties]:
        """Linear bounds that take out what they can of some selections, judged by a sample of them.

        The multipliers of a class need not add up to zero here: what they add up to is its weight,
        so that what the passes gain the selections pay for. In each step the selection of least
        bound is made dearer, and what is above the limit leaves the sample.
        """
        tuning = self.tuning
        at = self.multiplier if self.cut_multiplier is None else self.cut_multiplier
        multiplier, kept = at.copy(), at.copy()
        sample = selections.thinned(tuning.cut_sample)
        few = tuning.sieved * len(sample) // tuning.cut_sample
        at_once = max(1, tuning.turns // max(1, 3 * self.cells.gain.size))
        bases, weights = np.empty(tuning.rounds), np.empty((tuning.rounds, len(self.state)))
        reached, found = np.array([1.0, 0.0, -np.inf]), 0
        fixed = [np.flatnonzero(self.state == x) for x in (IN, OUT)]
        alive: Ints = np.arange(len(sample))
        for start in range(0, tuning.rounds, at_once):
            at_most = min(at_once, tuning.rounds - start)
            way = multiplier, kept, self.cells, *self._limits(), limit
            room = bases[found:], weights[found:], reached
            number, left, ended = cut_rounds(
                self.state, *way, *self._patience(), at_most, sample.bytes, alive, few, *room
            )
            found, alive = found + number, alive[:left]
            if ended or self.clock.expired():
                break
        self.cut_multiplier = kept
        return [Penalties(bases[i], weights[i], *fixed) for i in range(found)]

    def _evened(self, stop: Ints) -> Floats:
        """Multipliers that make a class count the same in all its passes if pass p stops there."""
        klass, size = self.layout.klass, np.maximum(self.layout.size, 1)
        of_cell = np.repeat(stop, np.diff(self.layout.start))
        gain = np.asarray(self.cells.gain)[np.arange(len(klass)), of_cell]
        multiplier: Floats = (np.bincount(klass, gain, len(size)) / size)[klass] - gain
        return multiplier

    def _relaxed(self) -> tuple[float, Floats, Ints]:
        """What the relaxed node comes to: its bound, the cells let through, and where each pass
        ends (by place)."""
        problem = self.layout.problem
        stop_after, steps_max = problem.policy.stop_after, problem.steps_max
        return relaxed(self.state, self.multiplier, self.cells, stop_after, steps_max, self.must)

    def _penalties(self, multiplier: Floats) -> Penalties:
        stop_after = self.layout.problem.policy.stop_after
        into, out = penalties_of(self.state, multiplier, self.cells, stop_after, self.must)
        bound = self._ladder(multiplier)
        sums = np.bincount(self.layout.klass, multiplier, len(self.state)) * (self.state == OPEN)
        return Penalties(
            bound + float(out.sum()),
            into - out - sums,
            np.flatnonzero(self.state == IN),
            np.flatnonzero(self.state == OUT),
        )


def strongest(
    cuts: list[Penalties], sample: Selections, limit: float, tuning: Tuning
) -> list[Penalties]:
    """A few of the cuts that together take out most of a sample, the one that takes most first."""
    through = sample.thinned(tuning.cut_sample).unpack(slice(None))
    out = np.array([through @ weight > room for weight, room in (c.room(limit) for c in cuts)])
    chosen: list[Penalties] = []
    left = np.ones(len(through), bool)
    while len(chosen) < tuning.cuts:
        taken = (out & left).sum(axis=1)
        best = int(taken.argmax())
        if chosen and not taken[best]:
            break
        chosen.append(cuts[best])
        left &= ~out[best]
    return chosen
