"""How long a search may take."""

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

    def expired(self) -> bool:
        return self.seconds is not None and self.spent >= self.seconds
