"""How long an answer may take: one clock for all that is done for it."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

__all__ = ["Clock", "KeepingClock", "OutOfTimeError"]


class OutOfTimeError(Exception):
    """The clock ran out, or the patience with a goal that may be left unproven."""


@dataclass(frozen=True)
class Clock:
    """Seconds allowed (None: no limit), counted from its making."""

    seconds: float | None = None
    started: float = field(default_factory=time.monotonic)

    @property
    def spent(self) -> float:
        return time.monotonic() - self.started

    @property
    def left(self) -> float | None:
        """Seconds left, at least 0; None where there is no limit."""
        return None if self.seconds is None else max(0.0, self.seconds - self.spent)

    def less(self, seconds: float) -> Clock:
        """The same clock with some seconds kept back for what follows, at most half of those left.

        A copy: the clock itself runs on.
        """
        if self.seconds is None or self.left is None:
            return self
        return replace(self, seconds=self.seconds - min(seconds, self.left / 2))

    def expired(self) -> bool:
        return self.seconds is not None and self.spent >= self.seconds

    def check(self) -> None:
        """Raises OutOfTimeError where it ran out: for loops that may be left at any turn."""
        if self.expired():
            raise OutOfTimeError


@dataclass(frozen=True)
class KeepingClock(Clock):
    """A clock that keeps back what is still needed for what was found: it runs out earlier."""

    needed: Callable[[], float] = float

    def expired(self) -> bool:
        return self.seconds is not None and self.spent + self.needed() >= self.seconds
