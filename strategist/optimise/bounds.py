"""What a cutoff and a selection of tag classes can reach at best: lower bounds that hold always.

A measure is a pair of weights (missed, stray). Whatever the ladder, a pass walks some last level l:
it then reports no wanted tag but those accepted at or below l, and every stray accepted at l. With
`stop_after` 1, or one level only, it reports just what is accepted at l. Summed over passes, each
with the l that suits it best, this bounds every ladder at once; `ladders` ties the passes to one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from strategist.optimise.ladders import Steps, path_bounds
from strategist.optimise.problem import Problem
from strategist.survey.records import Bools, Floats

__all__ = ["Measure", "View", "measures"]

_CELLS = 1 << 21  # floats in a block of selections × groups × levels: 16 MB


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
    """A problem as seen under one cutoff."""

    def __init__(self, problem: Problem, cutoff: int) -> None:
        profile = problem.profile
        self.problem = problem
        self.groups, self.levels = len(profile.pass_count), len(profile.levels_dbm)
        self.accepted = problem.accepted(cutoff)
        union = np.logical_or.accumulate(self.accepted, axis=1)
        self._union = union
        wanted = profile.row_wanted[:, None]
        alone = problem.steps_max == 1 or problem.policy.stop_after == 1
        self._reach = self.accepted if alone else np.where(wanted, union, self.accepted)
        rows = np.arange(len(profile.row_pass))
        shape = (self.groups, len(rows))
        self._by_group = sparse.csr_array((np.ones(len(rows)), (profile.row_pass, rows)), shape)
        ragged = (union & ~self.accepted).any(axis=1)
        self._nested = np.bincount(profile.row_pass[ragged], minlength=self.groups) == 0

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

    def by_class(self, measure: Measure) -> Floats:
        """Change of the measure by letting a class through: shape (classes, groups, levels)."""
        profile = self.problem.profile
        rows = np.arange(len(profile.row_pass))
        cell = profile.row_class * self.groups + profile.row_pass
        shape = (profile.classes * self.groups, len(rows))
        collect = sparse.csr_array((self._signed(measure), (cell, rows)), shape)
        table: Floats = collect @ self._reach.astype(float)
        return table.reshape(profile.classes, self.groups, self.levels)

    def free_bounds(self, measure: Measure, table: Floats, through: Floats) -> Floats:
        """Bound of each selection: every pass stops where that suits it best. Shape (selections,).

        `through` has shape (selections, classes); the values of `table` are its weights.
        """
        flat = table.reshape(len(table), -1)
        base = self._missed_all(measure)
        size = max(1, _CELLS // flat.shape[1])
        found = np.empty(len(through))
        for start in range(0, len(through), size):
            part = (through[start : start + size] @ flat).reshape(-1, self.groups, self.levels)
            found[start : start + size] = part.min(axis=2).sum(axis=1)
        total: Floats = found + base.sum()
        return total

    def steps(self, measure: Measure, through: Bools) -> Steps:
        """Bounds for the ladders of one selection."""
        problem = self.problem
        selected = through[problem.profile.row_class]
        signed = self._signed(measure) * selected
        cost = self._missed_all(measure)[:, None] + self._by_group @ (signed[:, None] * self._reach)
        if problem.steps_max == 1:
            turn = np.full(self.groups, self.levels)
            return path_bounds(cost, turn, np.ones(self.groups, bool), 1)
        tags = (problem.profile.row_count * selected)[:, None] * self._union
        stopped = self._by_group @ tags >= problem.policy.stop_after
        turn = np.where(stopped.any(axis=1), stopped.argmax(axis=1), self.levels)
        exact = self._nested
        return path_bounds(cost, turn, exact, problem.steps_max)
