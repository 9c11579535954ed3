"""What cutoffs and a selection of tag classes can reach at best: lower bounds that hold always.

A measure is a pair of weights (missed, stray). Whatever the ladder, a pass walks some last level l:
it then reports no wanted tag but those accepted at or below l, and every stray accepted at l. With
`stop_after` 1, or one level only, it reports just what is accepted at l. Summed over passes, each
with the l that suits it best, this bounds every ladder at once; `ladders` ties the passes to one.
"""

from __future__ import annotations

from dataclasses import dataclass
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
    read where even the strongest does: no cutoff of the range does better.
    """

    def __init__(self, problem: Problem, low: int, high: int) -> None:
        profile = problem.profile
        self.problem = problem
        self.groups, self.levels = len(profile.pass_count), len(profile.levels_dbm)
        wanted = profile.row_wanted[:, None]
        self.accepted = problem.accepted(low)
        if high > low:
            self.accepted = np.where(wanted, self.accepted, problem.accepted(high))
        alone = problem.steps_max == 1 or problem.policy.stop_after == 1
        union = np.logical_or.accumulate(self.accepted, axis=1)
        self._union = union
        self._reach = self.accepted if alone else np.where(wanted, union, self.accepted)
        rows = np.arange(len(profile.row_pass))
        shape = (self.groups, len(rows))
        self._by_group = sparse.csr_array((np.ones(len(rows)), (profile.row_pass, rows)), shape)

    def _signed(self, measure: Measure) -> Floats:
        """What reporting each row adds to the measure (negative for wanted)."""
        wanted = self.problem.profile.row_wanted
        sign: Floats = np.where(wanted, -measure.missed, measure.stray)
        return self.problem.row_weight * sign

    def _missed_all(self, measure: Measure) -> Floats:
        """The measure of each pass group when nothing is reported."""
        wanted = self.problem.profile.row_wanted
        found: Floats = self._by_group @ (self.problem.row_weight * wanted * measure.missed)
        return found

    def _by_class(self, measure: Measure) -> Floats:
        """Change of the measure by letting a class through: shape (classes, groups × levels)."""
        profile = self.problem.profile
        rows = np.arange(len(profile.row_pass))
        cell = profile.row_class * self.groups + profile.row_pass
        shape = (profile.classes * self.groups, len(rows))
        collect = sparse.csr_array((self._signed(measure), (cell, rows)), shape)
        table: Floats = collect @ self._reach.astype(float)
        return table.reshape(profile.classes, -1)

    def bounds(self, measure: Measure, through: Bools, completion: Completion) -> Floats:
        """Bound of each selection, every pass stopping where that suits it best.

        `through` has shape (selections, classes). "less": each pass may still lose any of the
        classes; "more": it may gain any. The result has shape (selections,).
        """
        table = self._by_class(measure)
        base = np.repeat(self._missed_all(measure), self.levels)
        if completion == "less":
            table = np.minimum(table, 0.0)
        elif completion == "more":
            base = base + np.minimum(table, 0.0).sum(axis=0)
            table = np.maximum(table, 0.0)
        largest = np.abs(table).sum(axis=0).max(initial=0.0) + np.abs(base).max(initial=0.0)
        whole = bool((table == np.round(table)).all() and (base == np.round(base)).all())
        kind = "f4" if whole and largest < _EXACT_IN_SINGLE else "f8"
        table, base = table.astype(kind), base.astype(kind)
        size = max(1, _CELLS // table.shape[1])
        found = np.empty(len(through))
        for start in range(0, len(through), size):
            part = through[start : start + size].astype(kind) @ table + base
            best = part.reshape(-1, self.groups, self.levels).min(axis=2)
            found[start : start + size] = best.sum(axis=1, dtype=float)
        return found

    def steps(self, measure: Measure, through: Bools) -> Steps:
        """Bounds for the ladders of one selection; this view must be of one cutoff."""
        problem = self.problem
        selected = through[problem.profile.row_class]
        signed = (self._signed(measure) * selected)[:, None] * self._reach
        cost = self._missed_all(measure)[:, None] + self._by_group @ signed
        tags = (problem.profile.row_count * selected)[:, None]
        stop_after = problem.policy.stop_after
        sure = self._by_group @ (tags * self.accepted) >= stop_after
        could = self._by_group @ (tags * self._union) >= stop_after
        turn = np.where(could.any(axis=1), could.argmax(axis=1), self.levels)
        return path_bounds(cost, turn, sure, problem.steps_max)
