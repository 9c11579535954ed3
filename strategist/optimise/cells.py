"""The tables that the compiled loops read: what classes of tags do in passes under one cutoff."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from strategist.optimise.kernel import Cells
from strategist.optimise.measures import Measure
from strategist.optimise.problem import Problem
from strategist.survey.records import Bools, Floats, Ints

__all__ = ["Layout", "Tables", "cells_of"]

_KEPT = 20_000_000  # numbers kept in tables: 160 MB
_LATELY = 2_000_000  # numbers in the tables made lately, which a search soon asks for again


@dataclass(frozen=True, eq=False)
class Layout:
    """Which cells a problem has; the same for every cutoff, so that shifts can be handed on.

    Cell c is class `klass[c]` in a pass group; cells are sorted by pass group.
    """

    problem: Problem

    @cached_property
    def lately(self) -> OrderedDict[tuple[int, bytes, Measure], Cells]:
        """The tables that `cells_of` made, as many as there is room for."""
        return OrderedDict()

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


def cells_of(layout: Layout, cutoff: int, levels: Ints, measure: Measure) -> Cells:
    """The cells under a cutoff when ladders are made of some levels only (ascending indices)."""
    lately, key = layout.lately, (cutoff, levels.tobytes(), measure)
    if key not in lately:
        lately[key] = _cells_of(layout, cutoff, levels, measure)
    lately.move_to_end(key)
    cells = lately[key]
    while len(lately) > 1 and len(lately) * 2 * cells.gain.size > _LATELY:
        lately.popitem(last=False)
    return cells


def _cells_of(layout: Layout, cutoff: int, levels: Ints, measure: Measure) -> Cells:
    problem = layout.problem
    profile = problem.profile
    accepted = problem.accepted(cutoff)[:, levels]
    union = np.logical_or.accumulate(accepted, axis=1)
    wanted = profile.row_wanted
    reach = accepted
    if problem.steps_max > 1 and problem.policy.stop_after > 1:
        reach = np.where(wanted[:, None], union, accepted)  # what a lower step reported stays
    sign = np.where(wanted, -measure.missed, measure.stray)
    hold = layout.gathered(profile.row_count, accepted)
    flip_start, flip = _flips(layout, hold > 0)
    groups = len(profile.pass_count)
    some = np.flatnonzero(union[:, -1])
    first = union[some].argmax(axis=1)
    order = np.lexsort((first, profile.row_pass[some]))
    rows = some[order]
    return Cells(
        start=layout.start,
        klass=layout.klass,
        gain=layout.gathered(problem.row_weight * sign, reach),
        hold=hold,
        base=np.bincount(
            profile.row_pass, problem.row_weight * wanted * measure.missed, groups
        ).astype(float),
        row_start=np.searchsorted(profile.row_pass[rows], np.arange(groups + 1)),
        row_class=profile.row_class[rows],
        row_first=first[order],
        row_count=profile.row_count[rows].astype(float),
        flip_start=flip_start,
        flip=flip,
    )


class Tables:
    """The cells of whole ladders by cutoff, kept, for one measure after the other.

    Gains are linear in the weights of a measure, so two tables make all others.
    """

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._parts: OrderedDict[int, tuple[Cells, Cells]] = OrderedDict()
        levels = len(layout.problem.profile.levels_dbm)
        self._most = max(1, _KEPT // max(1, 4 * len(layout.klass) * levels))

    def weighed(self, cutoff: int, measure: Measure) -> Cells:
        """As `cells_of`, with every level."""
        if cutoff not in self._parts:
            every = np.arange(len(self._layout.problem.profile.levels_dbm))
            missed, stray = (
                cells_of(self._layout, cutoff, every, one)
                for one in (Measure(1.0, 0.0), Measure(0.0, 1.0))
            )
            self._parts[cutoff] = (missed, stray)
        self._parts.move_to_end(cutoff)
        while len(self._parts) > self._most:
            self._parts.popitem(last=False)
        missed, stray = self._parts[cutoff]
        return missed._replace(
            gain=measure.missed * missed.gain + measure.stray * stray.gain,
            base=measure.missed * missed.base,
        )


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
