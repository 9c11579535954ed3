"""`judge`: the best strategy with everything that says how far to trust it."""

from __future__ import annotations

import argparse
import os
import signal
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context
from typing import Any

import strategist
from strategist.commands.arguments import (
    Commands,
    add_case,
    add_command,
    add_solving,
    each_point,
    solving,
)

__all__ = ["add"]

_PROCESSES_MAX = 8  # there are some fourteen further choices at a read point


def add(commands: Commands) -> None:
    what = "solve, then say how far to trust the answer and what to measure next"
    command = add_command(commands, "judge", _judge, what)
    add_case(command)
    add_solving(command)


def _judge(arguments: argparse.Namespace) -> int:
    options = solving(arguments)
    try:
        with _pool() as pool:

            def answer(point: strategist.ReadPoint, last: bool) -> tuple[dict[str, Any], str]:
                judged = strategist.judge(point, options, pool.map)
                return judged.to_json(), strategist.judged_text(judged, point.policy, caution=last)

            return each_point(arguments, answer)
    except BrokenProcessPool:
        raise strategist.SolveError("a worker process ended before its time") from None


@contextmanager
def _pool() -> Iterator[ProcessPoolExecutor]:
    """Workers for the further choices; spawned, since a fork after a solve may hang."""
    pool = ProcessPoolExecutor(
        min(os.cpu_count() or 1, _PROCESSES_MAX),
        mp_context=get_context("spawn"),
        initializer=signal.signal,  # an interrupt is for the parent to answer
        initargs=(signal.SIGINT, signal.SIG_IGN),
    )
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)  # after an error nobody waits for what was begun
