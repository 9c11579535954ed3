"""The tables that the compiled loops read: what classes of tags do in passes under one cutoff."""

from __future__ import annotations

from collections import OrderedDict
from functools import cached_property

import numpy as np

from strategist.optimise.kernel import Cells
from strategist.optimise.loops import tables
from strategist.optimise.measures import Measure
from strategist.optimise.problem import Problem
from strategist.survey.records import Floats, Ints

__all__ = ["Layout"]

_LEAST = float(np.finfo(float).min)  # no read is below it
_KEPT = 15_000_000  # numbers kept in tables: 120 MB
_MEASURES = 4  # tables by different measures that are kept for the same cutoff and levels


class Layout:
    """Which cells a problem has; the same for every cutoff, so that multipliers can be handed on.

    Cell c is class `klass[c]` in a pass group; cells are sorted by pass group. The tables made are
    kept by cutoff and levels, those asked for last, as many as there is room for.
    """

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self._kept: OrderedDict[tuple[int, int, bytes], _Tables] = OrderedDict()
        self._size = 0  # numbers kept

    def cells(
        self, cutoff: int, levels: Ints, measure: Measure, highest: int | None = None
    ) -> Cells:
        """The cells under a cutoff when ladders are made of some levels (ascending indices).

        With `highest` the cells of all cutoffs up to it, relaxed: what counts for a pass is taken
        from the lowest where it is wanted and from the highest where it is not.
        """
        last = cutoff if highest is None else highest
        key = (cutoff, last, levels.tobytes())
        kept = self._kept.get(key)
        if kept is None:
            kept = self._kept[key] = _Tables(self, cutoff, last, levels)
            self._size += kept.size
            while len(self._kept) > 1 and self._size > _KEPT:
                self._size -= self._kept.popitem(last=False)[1].size
        else:
            self._kept.move_to_end(key)
        return kept.weighed(measure)

    def forget(self) -> None:
        """Let go of the tables; they are made again when they are asked for."""
        self._kept.clear()
        self._size = 0

    @cached_property
    def _order(self) -> tuple[Ints, Ints, Ints]:
        """Rows sorted by cell; where each cell begins among them; its pass and class as one key."""
        profile = self.problem.profile
        keys = profile.row_pass * profile.classes + profile.row_class
        order = np.argsort(keys, kind="stable")
        cells, begin = np.unique(keys[order], return_index=True)
        return order, begin, cells

    @cached_property
    def start(self) -> Ints:
        groups = np.arange(len(self.problem.profile.pass_count) + 1)
        start: Ints = np.searchsorted(self._order[2], groups * self.problem.profile.classes)
        return start

    @cached_property
    def klass(self) -> Ints:
        klass: Ints = self._order[2] % self.problem.profile.classes
        return klass

    @cached_property
    def size(self) -> Ints:
        """Cells of each class."""
        size: Ints = np.bincount(self.klass, minlength=self.problem.profile.classes)
        return size

    @cached_property
    def wanted(self) -> Floats:
        """Wanted tags of each pass group, in all its passes."""
        profile, weight = self.problem.profile, self.problem.row_weight
        weighed = np.bincount(
            profile.row_pass, weight * profile.row_wanted, len(profile.pass_count)
        )
        return weighed.astype(float)

    @cached_property
    def begin(self) -> Ints:
        """Where each cell begins among the rows in the order of cells, and where the last ends."""
        order, begin, _ = self._order
        return np.append(begin, len(order))

    @property
    def order(self) -> Ints:
        """Rows in the order of cells."""
        return self._order[0]


class _Tables:
    """The cells for some levels and one cutoff, or all from `cutoff` to `last`.

    What a class changes is linear in the weights of a measure, so two tables make all others.
    Under several cutoffs a tag may be accepted where it is under the lowest, and is for sure where
    it is under the highest: a wanted tag that may be counts as reported, a stray one that is, too;
    the turn is the lowest level at which a pass may have stopped; it stops for sure, and who lets
    it walk on is held against, by what is accepted for sure.
    """

    def __init__(self, layout: Layout, cutoff: int, last: int, levels: Ints) -> None:
        problem, profile = layout.problem, layout.problem.profile
        shape = len(layout.klass), len(levels)
        self._missed, self._stray = np.empty(shape), np.empty(shape)
        hold, first = np.empty(shape), np.empty(len(profile.row_pass), np.int64)
        # with more than one to stop by, what a lower step reported stays
        stays = problem.steps_max > 1 and problem.policy.stop_after > 1
        low, high = (max(problem.thresholds[c], _LEAST) for c in (cutoff, last))
        rows = profile.row_wanted, profile.row_count, problem.row_weight
        tables.fill(
            *(profile.rssi, levels, low, high, stays, layout.order, layout.begin, *rows),
            *(self._missed, self._stray, hold, first),
        )
        of_pass, groups = problem.row_start, len(profile.pass_count)
        row_start, row = np.empty(groups + 1, np.int64), np.empty(len(first), np.int64)
        tables.sort_by_first(of_pass, first, len(levels), row_start, row)
        row = row[: row_start[-1]]
        flip_start = np.empty(groups * len(levels) + 1, np.int64)
        flip = np.empty(hold.size, np.int64)
        flip = flip[: tables.flips(layout.start, hold, flip_start, flip)].copy()
        self._wanted: Floats = layout.wanted
        self._always = {
            "start": layout.start,
            "klass": layout.klass,
            "hold": hold,
            "accepts": hold > 0,
            "row_start": row_start,
            "row_class": profile.row_class[row],
            "row_first": first[row],
            "row_count": profile.row_count[row].astype(float),
            "flip_start": flip_start,
            "flip": flip,
        }
        self._weighed: dict[Measure, Cells] = {}
        self.size = (3 + 2) * hold.size  # as a rule by two measures

    def weighed(self, measure: Measure) -> Cells:
        """By the weights of a measure."""
        if measure not in self._weighed:
            if len(self._weighed) == _MEASURES:
                del self._weighed[next(iter(self._weighed))]
            gain = np.empty(self._missed.shape)
            tables.weigh(self._missed, self._stray, measure.missed, measure.stray, gain)
            self._weighed[measure] = Cells(
                gain=gain,
                base=measure.missed * self._wanted,
                **self._always,
            )
        return self._weighed[measure]
