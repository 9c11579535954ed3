"""The best step ladder for one cutoff and one mask selection, by shortest paths and proof.

Tables are indexed by pass group p and level l. Let `cost[p, l]` be a lower bound of what p costs
when l is the last level it walks, and `turn[p]` the lowest level by which p could have stopped. A
ladder …, u, t, … meets p's turn on exactly one step (u < turn ≤ t), or on none. Met on a lower
step, p stops there for sure or walks on; met on the top step, or not at all, it ends at the top. So
a bound of a whole ladder is a sum over its steps, and a shortest path finds the least of them. With
`stop_after` 1 it is the loss itself, but for passes that a step misses above their turn.
Readability is not taken to be monotonic: where it is not, ladders are replayed one by one.
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
    """Lower bounds for ladders by one measure.

    `edge[u, t]` (u = 0 stands for "no lower step", u = i + 1 for level i): cost of the passes whose
    turn lies above u and at or below t, when t is not the top; `top[u, t]` the same, and all whose
    turn lies above t, when it is. `least[n, t]`: least sum of n + 1 steps ending at t, not the top.
    `total[n, t]`: least bound of a ladder of n + 1 steps with top t.
    """

    edge: Floats
    top: Floats
    least: Floats
    total: Floats


def path_bounds(cost: Floats, turn: Ints, sure: Bools, steps_max: int) -> Steps:
    """Bounds for ladders of up to `steps_max` steps.

    `cost` has shape (groups, levels), weighted by the passes in a group; `turn` holds level indices
    (the number of levels: never); `sure[p, l]`: p stops at l if it walks l at all.
    """
    levels = cost.shape[1]
    later = np.minimum.accumulate(cost[:, ::-1], axis=1)[:, ::-1]
    edge, _ = _met(np.where(sure, cost, later), turn)
    met, beyond = _met(cost, turn)
    top = met + beyond
    least = np.full((steps_max, levels), np.inf)
    total = np.full((steps_max, levels), np.inf)
    least[0], total[0] = edge[0], top[0]
    for n in range(1, steps_max):
        least[n] = (least[n - 1][:, None] + edge[1:]).min(axis=0)
        total[n] = (least[n - 1][:, None] + top[1:]).min(axis=0)
    return Steps(edge, top, least, total)


def _met(cost: Floats, turn: Ints) -> tuple[Floats, Floats]:
    """Cost at t of the passes whose turn is above u and up to t (u, t), and above t (t)."""
    levels = cost.shape[1]
    by_turn = np.zeros((levels + 1, levels))
    np.add.at(by_turn, turn, cost)
    upto = np.cumsum(by_turn, axis=0)
    own = upto.diagonal()
    met = np.vstack([own, own - upto[:levels]])
    met[1:][np.tril_indices(levels)] = np.inf
    return met, upto[-1] - own


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
    for top in tops:
        bounds = tuple(float(s.total[count - 1, top]) for s in steps)
        if np.isinf(bounds[0]) or hopeless(bounds, (top,)):
            continue
        if count == 1:
            yield (top,)
            continue
        for level in range(count - 2, top):
            spent = tuple(float(s.top[level + 1, top]) for s in steps)
            yield from _descend(steps, (top, level), spent, count - 2, hopeless)


def _descend(
    steps: tuple[Steps, ...],
    levels: Levels,
    spent: tuple[float, ...],
    below: int,
    hopeless: Callable[[tuple[float, ...], Levels], bool],
) -> Iterator[Levels]:
    """Ladders with the given upper steps, `below` more of them to be chosen underneath."""
    lowest = levels[-1]
    bound = tuple(
        so_far + float(s.least[below, lowest]) for s, so_far in zip(steps, spent, strict=True)
    )
    if hopeless(bound, levels):
        return
    if below == 0:
        yield levels
        return
    for level in range(below - 1, lowest):
        reached = tuple(
            so_far + float(s.edge[level + 1, lowest])
            for s, so_far in zip(steps, spent, strict=True)
        )
        yield from _descend(steps, (*levels, level), reached, below - 1, hopeless)
