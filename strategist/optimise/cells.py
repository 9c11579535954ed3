"""The tables that the compiled loops read: what classes of tags do in passes under one cutoff."""

from __future__ import annotations

from collections import OrderedDict
from functools import cached_property

import numpy as np

from strategist.optimise.kernel import Cells
from strategist.optimise.measures import Measure
from strategist.optimise.problem import Problem
from strategist.survey.records import Bools, Floats, Ints

__all__ = ["Layout"]

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
        tables = self._kept.get(key)
        if tables is None:
            tables = self._kept[key] = _Tables(self, cutoff, last, levels)
            self._size += tables.size
            while len(self._kept) > 1 and self._size > _KEPT:
                self._size -= self._kept.popitem(last=False)[1].size
        else:
            self._kept.move_to_end(key)
        return tables.weighed(measure)

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

    def gathered(self, weight: Ints | Floats, rows: Bools) -> Floats:
        """Σ weight × rows over the rows of each cell; `rows` has shape (rows, levels)."""
        order, begin, _ = self._order
        weighed = weight[order].astype(float)[:, None] * rows[order]
        table: Floats = np.add.reduceat(weighed, begin, axis=0)
        return table


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
        may_be = problem.accepted(cutoff)[:, levels]
        accepted = may_be if last == cutoff else problem.accepted(last)[:, levels]
        union = np.logical_or.accumulate(may_be, axis=1)
        wanted, reach = profile.row_wanted, accepted
        if problem.steps_max > 1 and problem.policy.stop_after > 1:
            reach = np.where(wanted[:, None], union, accepted)  # what a lower step reported stays
        elif last != cutoff:
            reach = np.where(wanted[:, None], may_be, accepted)
        self._missed = layout.gathered(-problem.row_weight * wanted, reach)
        self._stray = layout.gathered(problem.row_weight * ~wanted, reach)
        if reach is accepted and profile.row_cost is None:
            times = np.repeat(np.maximum(profile.pass_count, 1), np.diff(layout.start))[:, None]
            hold = (self._stray - self._missed) / times
        else:
            hold = layout.gathered(profile.row_count, accepted)
        flip_start, flip = _flips(layout, hold > 0)
        groups = len(profile.pass_count)
        some = np.flatnonzero(union[:, -1])
        first = union[some].argmax(axis=1)
        order = np.lexsort((first, profile.row_pass[some]))
        rows = some[order]
        self._base: Floats = np.bincount(
            profile.row_pass, problem.row_weight * wanted, groups
        ).astype(float)
        self._cells = Cells(
            start=layout.start,
            klass=layout.klass,
            gain=hold,
            hold=hold,
            base=self._base,
            row_start=np.searchsorted(profile.row_pass[rows], np.arange(groups + 1)),
            row_class=profile.row_class[rows],
            row_first=first[order],
            row_count=profile.row_count[rows].astype(float),
            flip_start=flip_start,
            flip=flip,
        )
        self._weighed: dict[Measure, Cells] = {}
        self.size = (3 + 2) * hold.size  # as a rule by two measures

    def weighed(self, measure: Measure) -> Cells:
        """By the weights of a measure."""
        if measure not in self._weighed:
            if len(self._weighed) == _MEASURES:
                del self._weighed[next(iter(self._weighed))]
            self._weighed[measure] = self._cells._replace(
                gain=measure.missed * self._missed + measure.stray * self._stray,
                base=measure.missed * self._base,
            )
        return self._weighed[measure]


def _flips(layout: Layout, held: Bools) -> tuple[Ints, Ints]:
    """For each pass and level the cells whose tags begin or cease to be accepted there."""
    levels = held.shape[1]
    before = np.zeros_like(held)
    before[:, 1:] = held[:, :-1]
    cell, level = np.nonzero(held != before)
    groups = len(layout.start) - 1
    of_cell = np.repeat(np.arange(groups), np.diff(layout.start))
    place = of_cell[cell] * levels + level
    order = np.argsort(place, kind="stable")
    start: Ints = np.searchsorted(place[order], np.arange(groups * levels + 1))
    return start, cell[order]
