"""How long an answer may take: one clock for all that is done for it."""

from __future__ import annotations

import time
from dataclasses import dataclass, field

__all__ = ["Clock", "OutOfTimeError"]


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

    def expired(self) -> bool:
        return self.seconds is not None and self.spent >= self.seconds

    def check(self) -> None:
        """Raises OutOfTimeError where it ran out: for loops that may be left at any turn."""
        if self.expired():
            raise OutOfTimeError
