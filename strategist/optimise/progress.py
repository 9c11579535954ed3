"""Who watches a search: it is told now and then what was found, and what no strategy is below.

Where an answer takes several steps, or a search of other losses than those of the survey, it is
told which `stage` it is at, in words.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

__all__ = ["Reached", "Watcher", "at_stage", "tell", "watched_by"]


@dataclass(frozen=True)
class Reached:
    """How far an answer is: the loss of the best strategy so far and a bound that none is below,
    both of the survey (None: not known yet), and what is being worked at."""

    loss: float | None
    bound: float | None
    stage: str = ""


Watcher = Callable[[Reached], None]

_WATCHER: ContextVar[Watcher | None] = ContextVar("watcher", default=None)


@contextmanager
def watched_by(watcher: Watcher | None) -> Iterator[None]:
    """Searches begun meanwhile in this thread tell a watcher (None: nobody)."""
    before = _WATCHER.set(watcher)
    try:
        yield
    finally:
        _WATCHER.reset(before)


def tell(loss: float | None, bound: float | None, stage: str = "") -> None:
    """Tell whoever watches, if anybody does."""
    watcher = _WATCHER.get()
    if watcher is not None:
        watcher(Reached(loss, bound, stage))


@contextmanager
def at_stage(
    words: str, seen: Callable[[Reached], Reached] = lambda reached: reached
) -> Iterator[None]:
    """What is told meanwhile is told with these words before its own; `seen` says what it means
    to who watches from outside."""
    outer = _WATCHER.get()
    if outer is None:
        yield
        return

    def told(reached: Reached) -> None:
        found = seen(reached)
        stage = ", ".join(one for one in (words, found.stage) if one)
        outer(Reached(found.loss, found.bound, stage))

    with watched_by(told):
        yield
