"""A clock for tests that stop a search at any place: its time is the number of looks at it."""

from __future__ import annotations

import itertools

from strategist.optimise.clock import Clock

__all__ = ["counted_clock"]

_A_LOOK_S = 0.01


def counted_clock(looks: int) -> Clock:
    """A clock that runs out after so many looks at it; the same each time."""
    ticks = itertools.count()
    return Clock(_A_LOOK_S * looks, now=lambda: _A_LOOK_S * next(ticks))
