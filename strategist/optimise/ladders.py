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

from strategist.survey.records import Bools, Floats

__all__ = ["Steps", "in_order", "path_bounds"]

Levels = tuple[int, ...]  # level indices from the top step down


@dataclass(frozen=True, eq=False)
class Steps:
    """Lower bounds for ladders by one measure; b runs over selections.

    `edge[b, u, t]` (u = 0 stands for "no lower step", u = i + 1 for level i): cost of the passes
    whose turn lies above u and at or below t, when t is not the top; `top[b, u, t]` the same, and
    all whose turn lies above t, when it is. `least[b, n, t]`: least sum of n + 1 steps ending at t,
    not the top. `total[b, n, t]`: least bound of a ladder of n + 1 steps with top t.
    """

    edge: Floats
    top: Floats
    least: Floats
    total: Floats


def path_bounds(cost: Floats, could: Bools, sure: Bools, steps_max: int) -> Steps:
    """Bounds for ladders of up to `steps_max` steps, for many selections side by side.

    `cost`, `could` and `sure` have shape (selections, groups, levels). `cost` is weighted by the
    passes in a group; `could[b, p, l]`: the turn of p is at or below l; `sure[b, p, l]`: p stops at
    l if it walks l at all.
    """
    selections, _, levels = cost.shape
    turned = could.astype(cost.dtype).transpose(0, 2, 1)
    met, own = _met(turned, cost)
    top = met + (cost.sum(axis=1) - own)[:, None, :]
    least = np.full((selections, steps_max, levels), np.inf, cost.dtype)
    total = np.full((selections, steps_max, levels), np.inf, cost.dtype)
    total[:, 0] = top[:, 0]
    if steps_max == 1:
        return Steps(met, top, least, total)
    later = np.minimum.accumulate(cost[:, :, ::-1], axis=2)[:, :, ::-1]
    edge, _ = _met(turned, np.where(sure, cost, later))
    least[:, 0] = edge[:, 0]
    for n in range(1, steps_max):
        for t in range(n, levels):
            before = least[:, n - 1, :t]
            least[:, n, t] = (before + edge[:, 1 : t + 1, t]).min(axis=1)
            total[:, n, t] = (before + top[:, 1 : t + 1, t]).min(axis=1)
    return Steps(edge, top, least, total)


def _met(turned: Floats, cost: Floats) -> tuple[Floats, Floats]:
    """Cost at t of the passes whose turn is above u and up to t (b, u, t), and up to t (b, t)."""
    upto = np.matmul(turned, cost)
    own = upto.diagonal(axis1=1, axis2=2)
    met = np.concatenate([own[:, None, :], own[:, None, :] - upto], axis=1)
    below, above = np.tril_indices(cost.shape[2])
    met[:, 1 + below, above] = np.inf
    return met, own


def in_order(
    steps: tuple[Steps, ...],
    count: int,
    tops: range,
    hopeless: Callable[[tuple[float, ...], Levels], bool],
) -> Iterator[Levels]:
    """Ladders of `count` steps by lowest top level, then lower next level, and so on.

    `steps` holds the bounds of one selection, by several measures; what `hopeless(bounds, levels
    so far)` cuts off is not gone into.
    """
    for top in tops:
        bounds = tuple(float(s.total[0, count - 1, top]) for s in steps)
        if np.isinf(bounds[0]) or hopeless(bounds, (top,)):
            continue
        if count == 1:
            yield (top,)
            continue
        for level in range(count - 2, top):
            spent = tuple(float(s.top[0, level + 1, top]) for s in steps)
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
        so_far + float(s.least[0, below, lowest]) for s, so_far in zip(steps, spent, strict=True)
    )
    if hopeless(bound, levels):
        return
    if below == 0:
        yield levels
        return
    for level in range(below - 1, lowest):
        reached = tuple(
            so_far + float(s.edge[0, level + 1, lowest])
            for s, so_far in zip(steps, spent, strict=True)
        )
        yield from _descend(steps, (*levels, level), reached, below - 1, hopeless)
