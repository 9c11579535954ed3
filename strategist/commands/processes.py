"""Work that is repeated, on all processors of this machine."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import strategist

if TYPE_CHECKING:
    from concurrent.futures import Executor, Future

_PROCESSES_MAX = 8  # there are some fourteen further choices at a read point

Map = Callable[[Callable[[Any], Any], Sequence[Any]], Iterator[Any]]


@contextmanager
def all_processors() -> Iterator[Map]:
    """A `map` over all processors, this process on one of them, workers on the others.

    Workers begin at the first use. They are spawned, since a fork after a solve may hang. Raises
    SolveError where one ended.
    """
    from concurrent.futures import BrokenExecutor  # noqa: PLC0415 (slow to load)

    workers = min(os.cpu_count() or 1, _PROCESSES_MAX) - 1
    pool: Executor | None = None

    def mapped(function: Callable[[Any], Any], parts: Sequence[Any]) -> Iterator[Any]:
        nonlocal pool
        pool = pool or _pool(workers)
        return shared_map(pool, function, parts)

    try:
        yield mapped if workers else map
    except BrokenExecutor:
        raise strategist.SolveError("a worker process ended before its time") from None
    finally:
        if pool is not None:
            pool.shutdown(cancel_futures=True)  # after an error nobody waits for what was begun


def _pool(workers: int) -> Executor:
    from concurrent.futures import ProcessPoolExecutor  # noqa: PLC0415
    from multiprocessing import get_context  # noqa: PLC0415

    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_begin_worker)


def _begin_worker() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # an interrupt is for the parent to answer
    strategist.Options()


def shared_map(
    pool: Executor, function: Callable[[Any], Any], parts: Sequence[Any]
) -> Iterator[Any]:
    """As the built-in `map`; workers begin at once, and whoever collects takes part, from the last
    on, in what none has begun."""
    begun = [pool.submit(function, part) for part in parts]
    return _collected(begun, function, parts)


def _collected(
    begun: Sequence[Future[Any]], function: Callable[[Any], Any], parts: Sequence[Any]
) -> Iterator[Any]:
    own = {
        number: function(parts[number])
        for number in reversed(range(len(parts)))
        if begun[number].cancel()
    }
    for number in range(len(parts)):
        yield own[number] if number in own else begun[number].result()
