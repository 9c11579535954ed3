"""What cutoffs and a selection of tag classes can reach at best: lower bounds that hold always.

A measure is a pair of weights (missed, stray). Whatever the ladder, a pass walks some last level l:
it then reports no wanted tag but those accepted at or below l, and every stray accepted at l. With
`stop_after` 1, or one level only, it reports just what is accepted at l. Summed over passes, each
with the l that suits it best, this bounds every ladder at once; `ladders` ties the passes to one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from scipy import sparse

from strategist.optimise.ladders import Steps, path_bounds
from strategist.optimise.problem import Problem
from strategist.survey.records import Bools, Floats

__all__ = ["Completion", "Measure", "View", "measures"]

_CELLS = 1 << 20  # numbers in a block of selections × groups × levels
_EXACT_IN_SINGLE = 1 << 24  # whole numbers below this are exact in single precision

Completion = Literal["as is", "less", "more"]  # may classes still leave, or join, a selection?


@dataclass(frozen=True, slots=True)
class Measure:
    """Weights of a sum over missed and stray tags, and the limit (cap per tag) that goes with it.

    The first measure of a problem is its loss, with no cap; the others count what a limit caps.
    """

    missed: float
    stray: float
    cap: float = np.inf
    per: int = 1


def measures(problem: Problem) -> tuple[Measure, ...]:
    """The loss, then one measure for each hard limit."""
    policy = problem.policy
    found = [Measure(policy.loss.missed, policy.loss.stray)]
    limits = policy.limits
    if limits.missed_rate_max is not None and problem.wanted:
        found.append(Measure(1.0, 0.0, limits.missed_rate_max, problem.wanted))
    if limits.stray_rate_max is not None:
        found.append(Measure(0.0, 1.0, limits.stray_rate_max, problem.passes))
    return tuple(found)


class View:
    """A problem as seen under a range of cutoffs, `low` (weak) to `high` (strong), or under one.

    Under a range a wanted read counts as accepted where the weakest cutoff lets it pass, a stray
    read where even the strongest does; a pass could stop by what the weakest lets pass, and stops
    for sure by what the strongest does. No cutoff of the range does better.
    """

    def __init__(self, problem: Problem, low: int, high: int) -> None:
        profile = problem.profile
        self.problem = problem
        self.groups, self.levels = len(profile.pass_count), len(profile.levels_dbm)
        wanted = profile.row_wanted[:, None]
        weak, strong = problem.accepted(low), problem.accepted(high)
        union = np.logical_or.accumulate(weak, axis=1)
        self.accepted = weak
        reach = weak if problem.steps_max == 1 or problem.policy.stop_after == 1 else union
        self._reach = np.where(wanted, reach, strong).astype(float)
        self._union, self._strong = union.astype(float), strong.astype(float)

    def _collected(self, weight: Floats, cells: Floats) -> Floats:
        """Σ weight × cells over the rows of each class and pass: (classes, groups × levels)."""
        profile = self.problem.profile
        cell = profile.row_class * self.groups + profile.row_pass
        shape = (profile.classes * self.groups, len(weight))
        collect = sparse.csr_array((weight, (cell, np.arange(len(weight)))), shape)
        table: Floats = np.asarray(collect @ cells)
        return table.reshape(profile.classes, -1)

    @cached_property
    def _tags(self) -> tuple[Floats, Floats]:
        """Tags of each class that could be reported by a level, and that are for sure at it."""
        count = self.problem.profile.row_count.astype(float)
        could, sure = self._collected(count, self._union), self._collected(count, self._strong)
        return could.astype("f4"), sure.astype("f4")

    @cached_property
    def _tables(self) -> dict[Measure, tuple[Floats, Floats]]:
        return {}

    def _table(self, measure: Measure) -> tuple[Floats, Floats]:
        """Change of the measure by each class let through, and the measure when none is."""
        if measure not in self._tables:
            profile, weight = self.problem.profile, self.problem.row_weight
            sign = np.where(profile.row_wanted, -measure.missed, measure.stray)
            table = self._collected((weight * sign).astype(float), self._reach)
            lost = np.bincount(
                profile.row_pass, weight * profile.row_wanted * measure.missed, self.groups
            )
            self._tables[measure] = table, np.repeat(lost, self.levels)
        return self._tables[measure]

    def free_bounds(self, measure: Measure, through: Bools, completion: Completion) -> Floats:
        """Bound of each selection, every pass stopping where that suits it best.

        `through` has shape (selections, classes). "less": each pass may still lose any of the
        classes; "more": it may gain any. The result has shape (selections,).
        """
        table, base = _completed(*self._table(measure), completion)
        found = np.empty(len(through))
        for rows in self._blocks(len(through)):
            cost = through[rows].astype(table.dtype) @ table + base
            best = cost.reshape(-1, self.groups, self.levels).min(axis=2)
            found[rows] = best.sum(axis=1, dtype=float)
        return found

    def path_bounds(self, measure: Measure, through: Bools, completion: Completion) -> Floats:
        """Bound of each selection over whole ladders: `free_bounds`, with passes tied together."""
        found = np.empty(len(through))
        for rows in self._blocks(len(through)):
            steps = self.steps(measure, through[rows], completion)
            found[rows] = steps.total.min(axis=(1, 2))
        return found

    def steps(self, measure: Measure, through: Bools, completion: Completion = "as is") -> Steps:
        """Bounds for the ladders of each selection."""
        shape = (len(through), self.groups, self.levels)
        table, base = _completed(*self._table(measure), completion)
        cost = (through.astype(table.dtype) @ table + base).reshape(shape)
        could_be, sure_is = self._tags
        held = np.zeros_like(through) if completion == "less" else through
        open_ = np.ones_like(through) if completion == "more" else through
        stop_after = self.problem.policy.stop_after
        sure = (held.astype("f4") @ sure_is >= stop_after).reshape(shape)
        could = (open_.astype("f4") @ could_be >= stop_after).reshape(shape)
        return path_bounds(cost, could, sure, self.problem.steps_max)

    def _blocks(self, selections: int) -> Iterator[slice]:
        size = max(1, _CELLS // (self.groups * self.levels))
        return (slice(start, start + size) for start in range(0, selections, size))


def _completed(table: Floats, base: Floats, completion: Completion) -> tuple[Floats, Floats]:
    """Table and base of a measure where classes may still leave or join a selection.

    In single precision where all sums are whole numbers small enough to be exact in it.
    """
    if completion == "less":
        table = np.minimum(table, 0.0)
    elif completion == "more":
        base = base + np.minimum(table, 0.0).sum(axis=0)
        table = np.maximum(table, 0.0)
    largest = np.abs(table).sum() + np.abs(base).sum()
    whole = bool((table == np.round(table)).all() and (base == np.round(base)).all())
    kind = "f4" if whole and largest < _EXACT_IN_SINGLE else "f8"
    return table.astype(kind), base.astype(kind)
