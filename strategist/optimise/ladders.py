"""Ladders of one selection in the order of preference, as far as bounds leave any.

The bounds are those of `kernel.step_costs`, with nothing open: with `stop_after` 1 they are what a
ladder comes to, but for passes that a step misses above their turn. Readability is not taken to be
monotonic: ladders that bounds leave are replayed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from strategist.optimise.walks import ladder_bounds, ladders_left
from strategist.survey.records import Bools, Floats, Ints

__all__ = ["in_order"]

_TURNS = 2_000_000  # of the loop over ladders, between two looks at the clock
_SLACK = 1e-6

Room = Callable[[int, tuple[int, ...]], Floats]


def in_order(
    costs: Sequence[tuple[Floats, Floats]],
    steps_max: int,
    must: Bools,
    room: Room,
    check: Callable[[], None],
    *,
    at_once: int,
) -> Iterator[Ints]:
    """Ladders of one step, of two, and so on; among these by lowest top, then lower next level.

    `costs` holds the (edge, top) of `kernel.step_costs` for each of some measures. `room(count,
    places)` says what ladders of `count` steps that come behind the topmost `places` may come to:
    shape (measures, corners); one corner must have room for all measures. It is asked again after
    each array of at most `at_once` ladders, shape (ladders, count), places from the top down, since
    what was replayed meanwhile may leave less. `check` is called now and then, and may raise.
    """
    edge, top = (np.array([cost[i] for cost in costs]) for i in range(2))
    least, total = ladder_bounds(edge, top, steps_max)
    lowest = int(np.flatnonzero(must).max(initial=0))
    most = 4
    for count in range(1, steps_max + 1):
        bounds = total[:, count - 1]  # (measures, levels)
        for highest in _within(bounds, room(count, ())):
            if highest < max(lowest, count - 1):
                continue
            ladder = np.full(count, -1)
            ladder[0], depth = highest, 1
            while depth:
                check()
                behind = [place for place in ladder[: depth + 1].tolist() if place >= 0]
                left = room(count, tuple(behind))
                if not len(_within(bounds[:, highest : highest + 1], left)):
                    break
                found, depth = ladders_left(
                    edge, top, least, left, must, ladder, depth, most, _TURNS
                )
                if len(found):
                    yield found
                    most = min(4 * most, at_once)


def _within(bounds: Floats, room: Floats) -> Ints:
    """The columns of bounds that some corner has room for."""
    fits: Bools = np.logical_and.reduce(bounds[:, :, None] <= room[:, None] + _SLACK, axis=0)
    found: Ints = np.flatnonzero(np.logical_or.reduce(fits, axis=1))
    return found
