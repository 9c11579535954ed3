"""What the search goes for: first the least excess and loss, then the least guarded loss.

The second goal is a loss as well: that of the passes as surveyed, each counted many times, and of
the same passes under the guards, counted once. Where the least loss is known, a strategy that has
it and a lower guarded loss is one that has a lower sum; so all bounds of the first goal serve.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

import numpy as np

from strategist.optimise.cells import Layout
from strategist.optimise.measures import Aim, Measure, aim_at, measures, spacing
from strategist.optimise.node import Node
from strategist.optimise.problem import Answer, Problem, value
from strategist.survey.records import Floats

__all__ = ["Goal", "GuardedGoal", "LossGoal", "with_guarded"]

_LARGEST = 1e8  # a sum of losses that double precision still tells apart in six decimals
_FINEST = 1e-6  # losses are compared to this


class Goal(Protocol):
    """`measure` over the cells of `layout` is what is minimised; no excess is below `excess`.

    `limited`: whether it may be left unproven where the ladders to replay are too many.
    """

    layout: Layout
    measure: Measure
    excess: float
    limited: bool

    def aim(self, best: Answer | None) -> Aim:
        """What nodes are bounded by, given the best strategy so far."""

    def mark(self, best: Answer) -> tuple[float, ...]:
        """What must be beaten: excess, value of the measure, then the key from the masks on."""


class LossGoal:
    """The least excess, then the least loss; strategies that are as good are left for later."""

    excess = 0.0
    limited = False

    def __init__(self, problem: Problem, layout: Layout) -> None:
        self.layout = layout
        self._measures = measures(problem)
        self.measure = self._measures[0]

    def aim(self, best: Answer | None) -> Aim:
        return aim_at(self._measures, 0.0 if best is None else best.key[0])

    def mark(self, best: Answer) -> tuple[float, ...]:
        return (*best.key[:2], -1.0)


class GuardedGoal:
    """Excess and loss as those of a proven best strategy, the least guarded loss, then the rest."""

    limited = True

    def __init__(self, problem: Problem, best: Answer) -> None:
        self._problem = problem
        self.measure = measures(problem)[0]
        self.excess, self._loss, guarded = best.key[:3]
        # a loss that is no multiple of anything is known to six decimals
        self._off = 0.0 if spacing(self.measure) else _FINEST
        one_less = int(guarded / (spacing(self.measure) or _FINEST)) + 1
        self.times = max(1, min(one_less, int(_LARGEST / max(1.0, self._loss))))
        self.layout = Layout(with_guarded(problem, self.times))

    def aim(self, best: Answer | None) -> Aim:
        return Aim(self.measure, 0.0, excess=False, step=spacing(self.measure))

    def mark(self, best: Answer) -> tuple[float, ...]:
        return (
            best.key[0],
            value(self.times * (best.key[1] + self._off) + best.key[2]),
            *best.key[3:],
        )

    def guarded(self, bound: float) -> float:
        """The guarded loss behind a value of the measure."""
        return value(max(0.0, bound - self.times * (self._loss + self._off)))

    def node(self, tied: Node) -> Node:
        """A node of the first goal, for this one: what was settled and shifted there holds, under
        all cutoffs with its outcomes."""
        alike, aim = self._problem.alike, self.aim(None)
        first = alike(tied.cutoff)[0]
        node = Node(self.layout, aim, first, tied.levels, tied.must, clock=tied.clock)
        node.highest = alike(tied.highest)[-1]
        node.state, node.even = tied.state.copy(), list(tied.even)
        if not tied.aim.excess:
            node.multiplier = self._over(tied.multiplier)
            node.cut_multiplier = (
                None if tied.cut_multiplier is None else self._over(tied.cut_multiplier)
            )
        return node

    def _over(self, multiplier: Floats) -> Floats:
        """Multipliers of the first goal, for the surveyed passes of this one."""
        return np.concatenate([self.times * multiplier, np.zeros(len(multiplier))])


def with_guarded(problem: Problem, times: int) -> Problem:
    """A problem with the surveyed passes, `times` each, and behind them the guarded ones, once."""
    one, other = problem.profile, problem.guarded
    cost = one.row_cost  # the same rows in both
    profile = replace(
        one,
        row_pass=np.concatenate([one.row_pass, other.row_pass + len(one.pass_count)]),
        row_class=np.concatenate([one.row_class, other.row_class]),
        row_wanted=np.concatenate([one.row_wanted, other.row_wanted]),
        row_count=np.concatenate([one.row_count, other.row_count]),
        rssi=np.concatenate([one.rssi, other.rssi]),
        pass_count=np.concatenate([times * one.pass_count, other.pass_count]),
        row_cost=None if cost is None else np.concatenate([cost, cost]),
    )
    return replace(problem, profile=profile)
