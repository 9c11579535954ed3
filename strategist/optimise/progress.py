"""Who watches a search: it is told now and then what was found, and what no strategy is below."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

__all__ = ["Watcher", "tell", "watched_by"]

Watcher = Callable[[float, float], None]  # the loss of the best so far, a bound

_WATCHER: ContextVar[Watcher | None] = ContextVar("watcher", default=None)


@contextmanager
def watched_by(watcher: Watcher | None) -> Iterator[None]:
    """Searches begun meanwhile in this thread tell a watcher (None: nobody)."""
    before = _WATCHER.set(watcher)
    try:
        yield
    finally:
        _WATCHER.reset(before)


def tell(loss: float, bound: float) -> None:
    """Tell whoever watches, if anybody does."""
    watcher = _WATCHER.get()
    if watcher is not None:
        watcher(loss, bound)
