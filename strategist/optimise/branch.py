"""One branch of the search: a cutoff and some steps of the ladder; chains and other steps are open.

The branch is relaxed: a class of tags may be let through in one pass and not in the next, and a
pass that walks on may end at any level of the branch. Shifts (Lagrange multipliers of "the same in
all passes") pull the bound of the relaxation up, step by step along its slope. Then classes are
tried in and out, and levels as steps: what takes the bound above the best strategy so far is fixed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strategist.optimise.cells import Layout, cells_of
from strategist.optimise.clock import Clock
from strategist.optimise.kernel import (
    IN,
    OPEN,
    OUT,
    Cells,
    best_ladder,
    ladder_bound,
    penalties_of,
    relaxed,
    slope_of,
    step_costs,
)
from strategist.optimise.measures import Aim, Measure, rounding
from strategist.optimise.selections import Selections
from strategist.survey.records import Bools, Floats, Ints

__all__ = ["Branch", "Penalties", "strongest"]

_ROUNDS = 100  # steps along the slope at most
_PATIENCE = 6  # steps without a better bound before they are halved
_OVER = 1.02  # the slope is walked towards a little more than is needed
_FEW = 100  # selections that are sooner looked at than sieved
_THINNED = 0.7  # share left that is worth another round of the sieve
_SAMPLE = 3_000  # selections that linear bounds are found on
_CUTS = 8  # linear bounds that all chains are held against
_LEAST_STEP = 0.02


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


class Branch:
    """Ladders of some levels (ascending indices) under a cutoff.

    Those that `must` be are steps of every ladder, the others may be. What raises the bound may be
    left at any turn, and is left when the clock runs out.
    """

    def __init__(
        self, layout: Layout, aim: Aim, cutoff: int, levels: Ints, must: Bools, *, clock: Clock
    ) -> None:
        self.layout = layout
        self.aim = aim
        self.cutoff = cutoff
        self.levels = levels
        self.must = must
        self.clock = clock
        self.done = -1  # chains of up to so many masks were looked at
        self.tight = False  # whether classes and levels were fixed
        self.state = np.full(layout.problem.profile.classes, OPEN)
        self.shift = np.zeros(len(layout.klass))
        self.cut_shift: Floats | None = None  # where linear bounds were last found
        self.bound = 0.0
        self.even: tuple[Selections, ...] | None = None  # what may tie, where all were weighed
        self._own: Cells | None = None
        self._cells: dict[tuple[int, Measure], Cells] = {}

    @property
    def cells(self) -> Cells:
        """The cells of the branch by its own layout and aim."""
        if self._own is None:
            self._own = self.cells_by(self.layout, self.aim.measure)
        return self._own

    def cells_by(self, layout: Layout, measure: Measure) -> Cells:
        """Made when they are needed, and kept until `rest`."""
        key = (id(layout), measure)
        if key not in self._cells:
            self._cells[key] = cells_of(layout, self.cutoff, self.levels, measure)
        return self._cells[key]

    def take(self, cells: Cells) -> None:
        """Take tables of its cutoff, levels and measure that were made elsewhere."""
        self._own = self._cells[id(self.layout), self.aim.measure] = cells

    def rest(self) -> None:
        """Let go of the tables, which a branch that waits for its turn does not need."""
        self._own, self._cells = None, {}

    def _steps(self) -> tuple[Floats, Floats]:
        stop_after = self.layout.problem.policy.stop_after
        edge, top, _ = step_costs(self.state, self.shift, self.cells, stop_after, self.must)
        return edge, top

    def _ladder(self, shift: Floats) -> float:
        """The least bound of a ladder under a shift."""
        problem = self.layout.problem
        stop_after, steps_max = problem.policy.stop_after, problem.steps_max
        return ladder_bound(self.state, shift, self.cells, stop_after, steps_max, self.must)

    def split(self) -> list[Branch]:
        """Two branches, with and without a level as a step; none where all levels are settled.

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
            _, ladder = best_ladder(edge, top, self.layout.problem.steps_max, self.must)
            likely = np.intersect1d(open_, ladder).tolist() or open_.tolist()
            place = max(likely, key=lambda place: self._without(place, edge, top))
        must = self.must.copy()
        must[place] = True
        parts = [self._part(self.levels, must)]
        if len(self.levels) > 1:
            keep = np.arange(len(self.levels)) != place
            parts.append(self._part(self.levels[keep], self.must[keep]))
        return parts

    def _without(self, place: int, edge: Floats, top: Floats) -> float:
        """The bound of the ladders that do without a level, given what steps cost."""
        kept = edge[:, place].copy(), top[:, place].copy()
        edge[:, place] = top[:, place] = np.inf
        bound = best_ladder(edge, top, self.layout.problem.steps_max, self.must)[0]
        edge[:, place], top[:, place] = kept
        return bound

    def _part(self, levels: Ints, must: Bools) -> Branch:
        part = Branch(self.layout, self.aim, self.cutoff, levels, must, clock=self.clock)
        part.shift, part.bound, part.state = self.shift, self.bound, self.state.copy()
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
            self.raise_bound(target, _ROUNDS // 3)

    def raise_bound(self, target: float, rounds: int = _ROUNDS) -> None:
        """Shift along the slope of the bound until it is above the target, or rises no more."""
        if self.clock.expired():
            return
        goal = target + self.aim.offset
        step, stale, best, kept = 1.0, 0, -np.inf, self.shift
        bound, slope = self._slope()
        for _ in range(rounds):
            if bound > best + 1e-9:
                best, kept, stale = bound, self.shift, 0
            else:
                stale += 1
            if self.aim.rounded(best) > target or self.clock.expired():
                break
            if stale >= _PATIENCE:
                step, stale, self.shift = step / 2, 0, kept
                bound, slope = self._slope()
            if step < _LEAST_STEP:
                break
            length = slope @ slope
            if length < 1e-12:
                break
            self.shift = self.shift + step * max(1e-3 * goal, _OVER * goal - bound) / length * slope
            bound, slope = self._slope()
        self.shift = kept
        self.bound = max(self.bound, self.aim.rounded(best))

    def fix_classes(self, target: float) -> bool:
        """Fix what, tried the other way, takes the bound above the target; whether any was."""
        fixed = False
        for k in np.flatnonzero(self.state == OPEN):
            if self.clock.expired():
                break
            for tried, other in ((OUT, IN), (IN, OUT)):
                self.state[k] = tried
                bound = self._ladder(self.shift)
                self.state[k] = OPEN
                if self.aim.rounded(bound) > target:
                    self.state[k] = other
                    fixed = True
                    break
        return fixed

    def settle_levels(self, target: float) -> bool:
        """Settle levels that must be steps, and drop those that cannot; whether there were any."""
        edge, top = self._steps()
        steps_max = self.layout.problem.steps_max
        keep, must = np.ones(len(self.levels), bool), self.must.copy()
        for place in np.flatnonzero(~self.must).tolist():
            if self.clock.expired():
                break
            with_it = self.must.copy()
            with_it[place] = True
            if self.aim.rounded(self._without(place, edge, top)) > target:
                must[place] = True
            elif self.aim.rounded(best_ladder(edge, top, steps_max, with_it)[0]) > target:
                keep[place] = False
        if keep.all() and (must == self.must).all():
            return False
        self.levels, self.must = self.levels[keep], must[keep]
        self.rest()
        return True

    def penalties(self) -> list[Penalties]:
        """Bounds linear in the classes, from several shifts; each holds for every selection."""
        raised = self.shift
        level = self._evened(np.full(len(self.layout.start) - 1, -1))
        ladder = self._evened(self._relaxed()[2])
        return [self._penalties(shift) for shift in (level, raised, ladder, (raised + level) / 2)]

    def sieve(self, selections: Selections, limit: float) -> Selections:
        """The selections that no linear bound takes above the limit.

        The bounds are found on a sample of the selections, then taken to all of them, as long as
        that thins them out.
        """
        while len(selections) > _FEW:
            left = selections
            for cut in self.cuts(selections, limit):
                left = cut.within(left, limit)
            thinned, selections = len(left) < _THINNED * len(selections), left
            if not thinned:
                break
        return selections

    def cuts(self, selections: Selections, limit: float) -> list[Penalties]:
        """Linear bounds that take out what they can of some selections, judged by a sample of them.

        The shifts of a class need not add up to zero here: what they add up to is its weight, so
        that what the passes gain the selections pay for. In each step the selection of least bound
        is made dearer, and what is above the limit leaves the sample.
        """
        before = self.shift
        if self.cut_shift is not None:
            self.shift = self.cut_shift
        through = selections.thinned(_SAMPLE).unpack(slice(None)).astype(float)
        few = _FEW * len(through) // _SAMPLE
        klass, is_open = self.layout.klass, (self.state == OPEN)[self.layout.klass]
        cuts, step, best, stale, kept = [], 1.0, -np.inf, 0, self.shift
        for _ in range(_ROUNDS):
            penalties = self._penalties(self.shift)
            weight, room = penalties.room(limit)
            over = through @ weight - room  # by how much bounds are above the limit
            if (over > 0).any():
                cuts.append(penalties)
                through, over = through[over <= 0], over[over <= 0]
                best = -np.inf
            if len(through) <= few or self.clock.expired():
                break
            least = float(over.min())
            if least > best + 1e-9:
                best, stale, kept = least, 0, self.shift
            else:
                stale += 1
            if stale >= _PATIENCE:
                step, stale, self.shift = step / 2, 0, kept
                if step < _LEAST_STEP:
                    break
                continue
            _, chosen, _ = self._relaxed()
            slope = (chosen - through[int(over.argmin())][klass]) * is_open
            length = slope @ slope
            if length < 1e-12:
                break
            rise = max(1e-3 * limit, (_OVER - 1) * limit - least)
            self.shift = self.shift + step * rise / length * slope
        self.shift, self.cut_shift = before, kept
        return cuts

    def _evened(self, stop: Ints) -> Floats:
        """Shifts that make a class count the same in each of its passes if pass p stops there."""
        klass, size = self.layout.klass, np.maximum(self.layout.size, 1)
        of_cell = np.repeat(stop, np.diff(self.layout.start))
        gain = self.cells.gain[np.arange(len(klass)), of_cell]
        shift: Floats = (np.bincount(klass, gain, len(size)) / size)[klass] - gain
        return shift

    def _slope(self) -> tuple[float, Floats]:
        """The bound of the relaxed branch, and its slope along the shifts."""
        problem = self.layout.problem
        stop_after, steps_max = problem.policy.stop_after, problem.steps_max
        return slope_of(self.state, self.shift, self.cells, stop_after, steps_max, self.must)

    def _relaxed(self) -> tuple[float, Floats, Ints]:
        """What the relaxed branch comes to: its bound, the cells let through, and where each pass
        ends (by place)."""
        problem = self.layout.problem
        stop_after, steps_max = problem.policy.stop_after, problem.steps_max
        return relaxed(self.state, self.shift, self.cells, stop_after, steps_max, self.must)

    def _penalties(self, shift: Floats) -> Penalties:
        stop_after = self.layout.problem.policy.stop_after
        into, out = penalties_of(self.state, shift, self.cells, stop_after, self.must)
        bound = self._ladder(shift)
        sums = np.bincount(self.layout.klass, shift, len(self.state)) * (self.state == OPEN)
        return Penalties(
            bound + float(out.sum()),
            into - out - sums,
            np.flatnonzero(self.state == IN),
            np.flatnonzero(self.state == OUT),
        )


def strongest(cuts: list[Penalties], sample: Selections, limit: float) -> list[Penalties]:
    """A few of the cuts that together take out most of a sample, the one that takes most first."""
    through = sample.thinned(_SAMPLE).unpack(slice(None))
    out = np.array([through @ weight > room for weight, room in (c.room(limit) for c in cuts)])
    chosen: list[Penalties] = []
    left = np.ones(len(through), bool)
    while len(chosen) < _CUTS:
        taken = (out & left).sum(axis=1)
        best = int(taken.argmax())
        if chosen and not taken[best]:
            break
        chosen.append(cuts[best])
        left &= ~out[best]
    return chosen
