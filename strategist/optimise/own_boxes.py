"""Ladders with own powers and cutoffs where reads are many: branch and bound over boxes.

One antenna that is on is what the others are trimmed against: antenna a radiates step + τ[a] dB,
and its reads of at least v[a] count. A box holds a range of trims for each of the others and a
range of cutoffs for each antenna. For all choices in it, at step l,

    r may be accepted       where an antenna reads r at some l + τ at its lowest cutoff or above
    r is accepted for sure  where one reads r at each l + τ that can be set, at its highest cutoff

so a node (`node`) between these two, as between the lowest and the highest of a range of cutoffs,
is a bound: wanted tags that may be count as reported, strays that are for sure, and a pass stops
where it may. Boxes are taken by least bound and halved where they are widest against the whole; a
box of one choice is a problem with one cutoff, and is searched. Each set of antennas that may be on
begins with a box of its own.

Two antennas close within a few thousand boxes; with four the ranges are too many as a rule, and the
bound that is reached is told (`tests/bench/portals.py` has the figures).
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, TypeAlias

import numpy as np

from strategist.optimise.archive import Bound
from strategist.optimise.cells import Layout
from strategist.optimise.clock import Clock
from strategist.optimise.measures import aim_at, measures
from strategist.optimise.own_ladders import Trimmed, profile_of
from strategist.optimise.own_powers import ByAntenna, settable_at_most
from strategist.optimise.problem import Problem, value
from strategist.optimise.search import least_loss
from strategist.optimise.tree import Tree
from strategist.survey.policy import DECIMALS, SAME_DB
from strategist.survey.records import Bools, Floats, Ints, Survey

__all__ = ["prove_over_boxes"]

_RANGES = 40  # of trims that are kept
_ROUNDS = 12  # along a subgradient in each box
_SAME = 1e-9

Small: TypeAlias = np.ndarray[tuple[Any, ...], np.dtype[np.int16]]
_Range: TypeAlias = tuple[Small, Small, Bools]
Box: TypeAlias = tuple[tuple[int, int], ...]  # first and last index: of trims, then of cutoffs


def prove_over_boxes(
    base: Problem,
    heard: ByAntenna,
    survey: Survey,
    clock: Clock,
    *,
    beat: Bound,
    turns: int | None = None,
    most: int | None = None,
) -> Trimmed:
    """What is better than the excess and loss to `beat`, those of the best that is known; None of
    it and `proven` where there is nothing.

    `heard` has the roster entries of the survey as its rows; of `base` the masks and steps serve.
    Steps times antennas that are on are at most `turns` (None: any number). The bound is of all
    ladders with two antennas or more. `most`: boxes that are bounded.
    """
    if most is None:
        tuning = base.tuning
        work = tuning.boxes_of_two if len(survey.antennas) == 2 else tuning.boxes_of_more
        most = int(work / max(1, len(survey.roster_tag) * len(survey.levels_dbm)))
    run = _Run(list(_sets(base, heard, survey, clock, turns)), beat, clock, most)
    while run.again():
        pass
    return Trimmed(run.on, run.bound, run.bound >= run.beat, (("boxes", run.bounded),))


class _Run:
    """Boxes by least bound, against the best so far: `bound` is what no choice is below."""

    def __init__(self, sets: Sequence[_Set], beat: Bound, clock: Clock, most: int) -> None:
        self.sets, self.beat, self.clock, self.most = sets, beat, clock, most
        self.on: dict[int, tuple[float, float]] | None = None
        self.bound: Bound = (0.0, 0.0)
        self.bounded = 0

    def again(self) -> bool:
        """Towards the least excess over the limits, or where they are kept the least loss; whether
        it has come to that in between, so that all is bounded anew."""
        exceeded, order, floor = self.beat[0] > 0, itertools.count(), np.inf
        heap = [(0.0, next(order), one, one.whole) for one in self.sets]
        while heap and not self._hopeless(heap[0][0]):
            if self.bounded >= self.most or self.clock.expired():
                break
            bound, _, one, box = heapq.heappop(heap)
            halves = one.halves(box)
            if not halves:
                key, proven = one.least(box)
                floor = floor if proven else min(floor, bound)
                if key < self.beat:
                    self.on, self.beat = one.on(box), key
                if exceeded and self.beat[0] == 0:
                    return True
            for half in halves:
                self.bounded += 1
                raised = max(bound, one.bound(half, self.beat))
                if not self._hopeless(raised):
                    heapq.heappush(heap, (raised, next(order), one, half))
        least = min([floor, *(one[0] for one in heap[:1])])
        still = (least, 0.0) if exceeded else (0.0, value(least))
        self.bound = self.beat if self._hopeless(least) else still
        return False

    def _hopeless(self, bound: float) -> bool:
        """Whether nothing with this excess, or loss, is better than the best."""
        excess, loss = self.beat
        return bound > excess + _SAME if excess > 0 else bound >= loss - _SAME


def _sets(
    base: Problem, heard: ByAntenna, survey: Survey, clock: Clock, turns: int | None
) -> Iterator[_Set]:
    """The sets of two antennas or more that may be on together, as far as the dwell allows."""
    hears = np.isfinite(heard.rssi).any(axis=(0, 2))
    for count in range(2, int(hears.sum()) + 1):
        steps = base.steps_by_masks
        if turns is not None:
            steps = tuple(min(one, turns // count) for one in steps)
            steps = tuple(itertools.takewhile(lambda one: one > 0, steps))
        if steps:
            own = replace(base, steps_by_masks=steps, slots=len(steps) - 1, top_fixed=False)
            for antennas in itertools.combinations(np.flatnonzero(hears).tolist(), count):
                yield _Set(own, heard, survey, clock, antennas)


class _Set:
    """Antennas that are on, the first of them untrimmed: their trims, cutoffs and boxes."""

    def __init__(
        self,
        base: Problem,
        heard: ByAntenna,
        survey: Survey,
        clock: Clock,
        antennas: tuple[int, ...],
    ) -> None:
        self.antennas, self.heard, self.clock = antennas, heard, clock
        levels = survey.levels_dbm
        apart: Floats = np.unique(np.round(np.subtract.outer(levels, levels), DECIMALS))
        asked = apart[:, None] + levels
        near = np.abs(asked[..., None] - levels)
        at = np.where(near.min(axis=-1) < SAME_DB, near.argmin(axis=-1), -1)
        self.trims: list[Floats] = [np.zeros(1), *(apart for _ in antennas[1:])]
        self.shifts: list[Ints] = []
        for place, a in enumerate(antennas):
            own = at if place else np.arange(len(levels))[None]
            self.shifts.append(np.where((own >= 0) & heard.allowed[a][own], own, -1))
        self.profile, entry = profile_of(base, heard, survey)
        self.cutoffs: list[Floats] = []
        self.reached: list[Small] = []  # the highest cutoff that each read at a level reaches
        for a in antennas:
            rssi, cutoffs = heard.rssi[entry, a], self._cutoffs_of(a)
            reached = np.searchsorted(cutoffs, rssi, "right") - 1
            self.reached.append(np.where(np.isfinite(rssi), reached, -1).astype(np.int16))
            self.cutoffs.append(cutoffs)
        self._ranges: dict[tuple[int, tuple[int, int]], _Range] = {}
        sizes = [len(one) for one in (*self.trims, *self.cutoffs)]
        self.whole: Box = tuple((0, size - 1) for size in sizes)
        self.base = replace(
            base, thresholds=np.array([-np.inf, 1.0]), below=(-np.inf, 0.0), profile=self.profile
        )
        self.layout = Layout(self.base)

    def _cutoffs_of(self, antenna: int) -> Floats:
        values = self.heard.rssi[:, antenna, self.heard.allowed[antenna]]
        values = np.unique(values[np.isfinite(values)])
        if not self.heard.cutoffs:
            return np.full(min(1, len(values)), -np.inf)
        return np.unique(settable_at_most(values, self.heard.step_db))

    def halves(self, box: Box) -> tuple[Box, ...]:
        """Two boxes for one, halved where it is widest; none where it is one choice."""
        widths = [
            (last > first, (last - first + 1) / (end + 1))
            for (first, last), (_, end) in zip(box, self.whole, strict=True)
        ]
        place = max(range(len(box)), key=lambda n: widths[n])
        if not widths[place][0]:
            return ()
        first, last = box[place]
        middle = (first + last) // 2
        sides = ((first, middle), (middle + 1, last))
        return tuple((*box[:place], side, *box[place + 1 :]) for side in sides)

    def bound(self, box: Box, beat: Bound) -> float:
        """An excess, or loss, that no choice in a box is below; as high as beats what is known."""
        problem = self._problem(box)
        if problem is None:
            return np.inf
        layout, aim = self.layout, aim_at(measures(self.base), beat[0])
        layout.problem = problem
        layout.forget()
        node = Tree(problem, self.clock).node(0, aim, layout)
        node.highest = 1
        node.raise_bound(beat[0] if aim.excess else beat[1] - aim.step, _ROUNDS)
        return node.bound

    def least(self, box: Box) -> tuple[Bound, bool]:
        """The least excess and loss in a box of one choice, and whether they are proven."""
        problem = self._problem(box)
        if problem is None:
            return (np.inf, np.inf), True
        alone = replace(problem, thresholds=problem.thresholds[:1], below=problem.below[:1])
        found = least_loss(alone, self.clock)
        return (found.key[0], found.key[1]), found.proven

    def on(self, box: Box) -> dict[int, tuple[float, float]]:
        """Trim below the highest and cutoff of each antenna, of a box of one choice."""
        count = len(self.antennas)
        trims = [own[first] for own, (first, _) in zip(self.trims, box[:count], strict=True)]
        cutoffs = [own[first] for own, (first, _) in zip(self.cutoffs, box[count:], strict=True)]
        return {
            a: (round(float(trim - max(trims)), DECIMALS), float(cutoff))
            for a, trim, cutoff in zip(self.antennas, trims, cutoffs, strict=True)
        }

    def _problem(self, box: Box) -> Problem | None:
        """The choice of steps and masks in which a read of 1 is accepted for sure and one of 0 may
        be; None where no step can be set."""
        count, shape = len(self.antennas), self.profile.rssi.shape
        may_be, sure = np.zeros(shape, bool), np.zeros(shape, bool)
        usable = np.ones(shape[1], bool)
        for place in range(count):
            low, high = box[count + place]
            most, least, can = self._range(place, box[place])
            usable &= can
            may_be |= most >= low
            sure |= (least >= high) & can
        if not usable.any():
            return None
        rssi = np.where(sure, 1.0, np.where(may_be, 0.0, -np.inf))
        profile = replace(self.profile, rssi=rssi).at_levels(usable)
        return replace(self.base, profile=profile, guarded=profile)

    def _range(self, place: int, trims: tuple[int, int]) -> _Range:
        """The highest cutoff (by index, −1: none) that the strongest and the weakest read reach at
        each step with any trim of a range that can be set, and whether one can."""
        kept = self._ranges.get((place, trims))
        if kept is not None:
            return kept
        reached, shape = self.reached[place], self.profile.rssi.shape
        most: Small = np.full(shape, -1, np.int16)
        least: Small = np.full(shape, len(self.cutoffs[place]), np.int16)
        can = np.zeros(shape[1], bool)
        for at in self.shifts[place][trims[0] : trims[1] + 1]:
            here = at >= 0
            read = reached[:, at[here]]
            most[:, here] = np.maximum(most[:, here], read)
            least[:, here] = np.minimum(least[:, here], read)
            can |= here
        if len(self._ranges) >= _RANGES:
            self._ranges.clear()
        self._ranges[place, trims] = most, least, can
        return most, least, can
