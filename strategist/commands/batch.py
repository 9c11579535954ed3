"""`batch`: many read points, in parallel, with resume."""

from __future__ import annotations

import argparse
import contextlib
import math
import os
import sys
import time

import strategist
from strategist.commands.arguments import (
    INCOMPLETE,
    OK,
    Commands,
    add_command,
    add_solving,
    placed,
    solving,
    whole,
)

_EVERY_S = 10.0  # between lines of progress where there is no terminal
_BAR = 20


def add(commands: Commands) -> None:
    command = add_command(commands, "batch", _batch, "solve many read points, in parallel")
    command.add_argument("cases", metavar="CASE", nargs="+", help="folders of cases")
    command.add_argument(
        "--out",
        required=True,
        metavar="FOLDER",
        help="where results go; rerun to resume",
    )
    add_workers(command)
    add_solving(command)
    command.add_argument(
        "--unseen",
        action="store_true",
        help="also ask how masks do on held-out tags: up to eight more solves each",
    )
    command.add_argument(
        "--sturdier",
        action="store_true",
        help="also seek strategies that are more robust to drift: one more solve each",
    )


def add_workers(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--workers",
        type=whole(1, 1000),
        default=_processors(),
        metavar="N",
        help="processes on this machine (default: one for each processor)",
    )
    command.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="use this Dask scheduler instead of local processes, e.g. tcp://HOST:8786",
    )


def _processors() -> int:
    """Those that this process may use."""
    some = hasattr(os, "sched_getaffinity")
    return len(os.sched_getaffinity(0)) if some else os.cpu_count() or 1


def _batch(arguments: argparse.Namespace) -> int:
    options = solving(arguments, unseen=arguments.unseen, sturdier=arguments.sturdier)
    with placed({"cases": "CASE", "scheduler": "--scheduler"}):
        summary = strategist.run_batch(
            arguments.cases,
            arguments.out,
            options,
            workers=arguments.workers,
            scheduler=arguments.scheduler,
            progress=Teller(),
        )
    print(summary.text, end="")
    return INCOMPLETE if summary.failed else OK


class Teller:
    """Tells progress on standard error: a line drawn over on a terminal, else one now and then."""

    def __init__(self) -> None:
        self._terminal = sys.stderr is not None and sys.stderr.isatty()
        self._pause_s = 0.1 if self._terminal else _EVERY_S
        self._told = -math.inf

    def __call__(self, progress: strategist.Progress) -> None:
        over = progress.done == progress.total
        now = time.monotonic()
        if not over and now - self._told < self._pause_s:
            return
        self._told = now
        text, end = _said(progress), "\n"
        if self._terminal:
            bar = "#" * (_BAR * progress.done // max(progress.total, 1))
            text, end = f"\r[{bar:<{_BAR}}] {text}\x1b[K", "\n" if over else ""
        with contextlib.suppress(OSError, AttributeError):  # standard error may be closed
            print(text, end=end, file=sys.stderr, flush=True)


def _said(progress: strategist.Progress) -> str:
    text = f"{progress.done} of {progress.total} done, {progress.failed} failed"
    if progress.kept:
        text += f", {progress.kept} kept"
    if progress.doubtful:
        text += f", {progress.doubtful} damaged or old lines not believed"
    if progress.rate is not None and progress.left_s is not None:
        text += f", {progress.rate:.3g} a second, {_time(progress.left_s)} left"
    return text


def _time(seconds: float) -> str:
    hours, rest = divmod(round(seconds), 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}"
