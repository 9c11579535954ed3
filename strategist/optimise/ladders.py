"""The best step ladder for one cutoff and one mask selection, by dynamic programming and proof.

Tables are indexed by pass group p and level l. Let `cost[p, l]` be a lower bound of what p costs
when l is the last level it walks, and `turn[p]` the lowest level by which p could have stopped. A
ladder …, u, t, … meets p's turn on exactly one step (u < turn ≤ t), or on none. So a bound of a
whole ladder is a sum over its steps, a shortest path finds the least bound, and where every pass is
nested (what is accepted at a level is accepted at all higher ones) the bound is the loss itself.
Readability is not taken to be monotonic: where it is not, the bound stays below, and ladders are
replayed one by one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from strategist.survey.records import Bools, Floats, Ints

__all__ = ["Steps", "in_order", "path_bounds"]

Levels = tuple[int, ...]  # level indices from the top step down


@dataclass(frozen=True, eq=False)
class Steps:
    """Lower bounds for ladders, all in loss.

    `edge[u, t]` (u = 0 stands for "no lower step", u = i + 1 for level i): cost of the passes whose
    turn lies above u and at or below t. `end[t]`: cost of those whose turn lies above the top t.
    `least[n, t]`: least cost of n steps ending at t, without `end`; n counts from 0 for one step.
    """

    edge: Floats
    end: Floats
    least: Floats

    @property
    def total(self) -> Floats:
        """Least bound of a ladder by number of steps (from one) and top level."""
        return self.least + self.end


def path_bounds(cost: Floats, turn: Ints, nested: Bools, steps_max: int) -> Steps:
    """Bounds for ladders of up to `steps_max` steps.

    `cost` has shape (groups, levels), already weighted by the passes in a group; `turn` holds level
    indices (the number of levels: never); `nested` marks the groups whose `cost` is exact.
    """
    levels = cost.shape[1]
    later = np.minimum.accumulate(cost[:, ::-1], axis=1)[:, ::-1]
    at_stop = np.where(nested[:, None], cost, later)
    by_turn = np.zeros((levels + 1, levels))
    np.add.at(by_turn, turn, at_stop)
    never = np.zeros((levels + 1, levels))
    np.add.at(never, turn, cost)
    # passes with turn ≤ t, and of them those with turn ≤ u: their difference met the step at t
    met = np.cumsum(by_turn, axis=0)
    upto = met[np.arange(levels), np.arange(levels)]
    edge = np.vstack([upto, upto[None, :] - met[:levels]])
    edge[1:][np.tril_indices(levels)] = np.inf
    beyond = never.sum(axis=0) - np.cumsum(never, axis=0)[np.arange(levels), np.arange(levels)]
    least = np.full((steps_max, levels), np.inf)
    least[0] = edge[0]
    for n in range(1, steps_max):
        least[n] = (least[n - 1][:, None] + edge[1:]).min(axis=0)
    return Steps(edge, beyond, least)


def in_order(
    steps: tuple[Steps, ...],
    count: int,
    tops: range,
    hopeless: Callable[[tuple[float, ...], Levels], bool],
) -> Iterator[Levels]:
    """Ladders of `count` steps by lowest top level, then lower next level, and so on.

    `steps` holds bounds by several measures; what `hopeless(bounds, levels so far)` cuts off is not
    gone into.
    """
    least = np.array([s.total[count - 1] for s in steps])
    for top in tops:
        if np.isfinite(least[0, top]) and not hopeless(tuple(least[:, top].tolist()), (top,)):
            spent = tuple(float(s.end[top]) for s in steps)
            yield from _descend(steps, (top,), spent, count - 1, hopeless)


def _descend(
    steps: tuple[Steps, ...],
    levels: Levels,
    spent: tuple[float, ...],
    below: int,
    hopeless: Callable[[tuple[float, ...], Levels], bool],
) -> Iterator[Levels]:
    """Ladders with the given upper steps, `below` more of them to be chosen underneath."""
    lowest = levels[-1]
    if below == 0:
        whole = tuple(sum_ + float(s.edge[0, lowest]) for s, sum_ in zip(steps, spent, strict=True))
        if not hopeless(whole, levels):
            yield levels
        return
    for level in range(below - 1, lowest):
        reached = tuple(
            sum_ + float(s.edge[level + 1, lowest]) for s, sum_ in zip(steps, spent, strict=True)
        )
        bound = tuple(
            sum_ + float(s.least[below - 1, level]) for s, sum_ in zip(steps, reached, strict=True)
        )
        if not hopeless(bound, (*levels, level)):
            yield from _descend(steps, (*levels, level), reached, below - 1, hopeless)
