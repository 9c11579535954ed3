"""How long an answer may take: one clock for all that is done for it."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

__all__ = ["Clock", "KeepingClock", "OutOfTimeError"]

_RESERVE = 0.1  # of the time allowed


class OutOfTimeError(Exception):
    """The clock ran out, or the patience with a goal that may be left unproven."""


@dataclass
class Clock:
    """Seconds allowed (None: no limit), counted from its making by `now`.

    `off` seconds were spent on what does not count. A test gives a `now` that counts its calls.
    """

    seconds: float | None = None
    started: float | None = None
    now: Callable[[], float] = time.monotonic
    off: float = 0.0

    def __post_init__(self) -> None:
        if self.started is None:
            self.started = self.now()

    @property
    def spent(self) -> float:
        assert self.started is not None
        return self.now() - self.started - self.off

    @property
    def left(self) -> float | None:
        """Seconds left, at least 0; None where there is no limit."""
        return None if self.seconds is None else max(0.0, self.seconds - self.spent)

    @property
    def reserve(self) -> float:
        """Seconds for what is tried without proof (0 without a limit): they depend on the limit
        alone, so that trying more takes nothing from the proof."""
        return 0.0 if self.seconds is None else _RESERVE * self.seconds

    def without_reserve(self) -> Clock:
        """A copy for the proof, which ends the reserve earlier."""
        return replace(self, seconds=None if self.seconds is None else self.seconds - self.reserve)

    def less(self, seconds: float) -> Clock:
        """The same clock with some seconds kept back for what follows, at most half of those left.

        A copy: the clock itself runs on.
        """
        if self.seconds is None or self.left is None:
            return self
        return replace(self, seconds=self.seconds - min(seconds, self.left / 2))

    @contextmanager
    def stopped(self) -> Iterator[None]:
        """What is done meanwhile does not count."""
        before = self.now()
        try:
            yield
        finally:
            self.off += self.now() - before

    def expired(self) -> bool:
        return self.seconds is not None and self.spent >= self.seconds

    def check(self) -> None:
        """Raises OutOfTimeError where it ran out: for loops that may be left at any turn."""
        if self.expired():
            raise OutOfTimeError


@dataclass
class KeepingClock(Clock):
    """A clock that keeps back what is still needed for what was found: it runs out earlier."""

    needed: Callable[[], float] = float

    def expired(self) -> bool:
        return self.seconds is not None and self.spent + self.needed() >= self.seconds
