"""`judge`: the best strategy with everything that says how far to trust it."""

from __future__ import annotations

import argparse
import os
import signal
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context

import strategist
from strategist.commands.arguments import (
    BAD_INPUT,
    OK,
    Commands,
    add_case,
    add_command,
    add_out,
    add_read_point,
    give,
    one_of,
    refuse_out,
    say,
    seconds,
    seed,
)
from strategist.errors import InputError

__all__ = ["add"]

_PROCESSES_MAX = 8  # there are some fourteen further choices at a read point


def add(commands: Commands) -> None:
    what = "solve, then say how far to trust the answer and what to measure next"
    command = add_command(commands, "judge", _judge, what)
    add_case(command)
    add_read_point(command)
    add_out(command)
    command.add_argument(
        "--time-limit", type=seconds, metavar="S", help="seconds for each choice (no limit)"
    )
    command.add_argument("--seed", type=seed, default=0, metavar="N", help="of the solver (0)")


def _judge(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    case = strategist.read_case(arguments.case, arguments.read_point)
    points = case.read_points
    if arguments.out is not None and len(points) > 1:
        raise one_of(case, "one read point for --out")
    options = strategist.Options(arguments.time_limit, arguments.seed)
    status = OK
    try:
        with _pool() as pool:
            for number, point in enumerate(points):
                last = number + 1 == len(points)
                try:
                    judged = strategist.judge(point, options, pool.map)
                except InputError as error:
                    if len(points) == 1:
                        raise
                    status = say(str(error), BAD_INPUT)
                    continue
                text = strategist.judged_text(judged, point.policy, caution=last)
                give(arguments.out, judged.to_json(), text + ("" if last else "\n"))
    except BrokenProcessPool:
        raise strategist.SolveError("a worker process ended before its time") from None
    return status


def _pool() -> ProcessPoolExecutor:
    """Workers for the further choices; spawned, since a fork after a solve may hang."""
    return ProcessPoolExecutor(
        min(os.cpu_count() or 1, _PROCESSES_MAX),
        mp_context=get_context("spawn"),
        initializer=signal.signal,  # an interrupt is for the parent to answer
        initargs=(signal.SIGINT, signal.SIG_IGN),
    )
