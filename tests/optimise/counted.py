"""A clock for tests that stop a search at any place."""

from __future__ import annotations

from strategist.optimise.clock import Clock


class CountedClock(Clock):
    """A clock that runs out after so many looks at it."""

    def __init__(self, looks: int) -> None:
        super().__init__()
        object.__setattr__(self, "looks_left", looks)

    def expired(self) -> bool:
        left: int = self.looks_left  # type: ignore[attr-defined]
        object.__setattr__(self, "looks_left", left - 1)
        return left <= 0
