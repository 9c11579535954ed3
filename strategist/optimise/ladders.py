"""Step ladders of one selection in the order of preference, as far as bounds leave any.

The bounds are those of `kernel.step_costs`, with nothing open: with `stop_after` 1 they are the
loss itself, but for passes that a step misses above their turn. Readability is not taken to be
monotonic: where it is not, ladders are replayed one by one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from strategist.optimise.walks import ladder_bounds
from strategist.survey.records import Floats

__all__ = ["Steps", "in_order", "steps_of"]

Levels = tuple[int, ...]  # places of levels from the top step down


@dataclass(frozen=True, eq=False)
class Steps:
    """Lower bounds for the ladders of one selection by one measure.

    `edge[u, t]` (u = 0 stands for "no lower step", u = i + 1 for level i): cost of the passes whose
    turn lies above u and at or below t, when t is not the top; `top[u, t]` the same, and all whose
    turn lies above t, when it is. `least[n, t]`: least sum of n + 1 steps ending at t, not the top.
    `total[n, t]`: least bound of a ladder of n + 1 steps with top t.
    """

    edge: Floats
    top: Floats
    least: Floats
    total: Floats


def steps_of(edge: Floats, top: Floats, steps_max: int) -> Steps:
    """The bounds of ladders of up to `steps_max` steps from those of single steps."""
    least, total = ladder_bounds(edge[None], top[None], steps_max)
    return Steps(edge, top, least[0], total[0])


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
