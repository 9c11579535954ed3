"""What the commands share: arguments, the case or strategy that they name, giving answers."""

from __future__ import annotations

import argparse
import contextlib
import json
import math
import sys
from collections.abc import Callable
from typing import Any

import strategist
from strategist.errors import InputError

__all__ = [
    "BAD_INPUT",
    "INCOMPLETE",
    "INTERRUPTED",
    "NO_ANSWER",
    "OK",
    "PIPE_CLOSED",
    "UNUSABLE",
    "Commands",
    "add_case",
    "add_command",
    "add_out",
    "add_read_point",
    "add_solving",
    "add_strategy",
    "give",
    "given",
    "one_of",
    "refuse_out",
    "say",
    "seconds",
    "seed",
    "solving",
    "weight",
    "whole",
]

OK, UNUSABLE, BAD_INPUT, NO_ANSWER = 0, 1, 2, 3
INCOMPLETE = UNUSABLE  # of a batch: some read points have no answer
INTERRUPTED, PIPE_CLOSED = 130, 141  # 128 + the number of the signal, as shells count
_SEED_MAX = 2**31 - 1  # of the solver

Commands = Any  # the sub-parsers of argparse, whose type has no public name


def say(message: str, status: int) -> int:
    """A message on standard error; returns the status."""
    with contextlib.suppress(OSError):
        print(message, file=sys.stderr)
    return status


def add_command(
    commands: Commands, name: str, run: Callable[[argparse.Namespace], int], what: str
) -> argparse.ArgumentParser:
    """A command without arguments yet; `run` gets them and returns the exit status."""
    command: argparse.ArgumentParser = commands.add_parser(
        name, help=what, description=what, allow_abbrev=False
    )
    command.set_defaults(run=run)
    return command


def add_case(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "case", metavar="CASE", help="folder with reads.csv, roster.csv, site.json"
    )


def add_strategy(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--strategy",
        required=True,
        metavar="FILE",
        help="a strategy, or a result of solve, as JSON",
    )


def add_read_point(command: argparse.ArgumentParser) -> None:
    command.add_argument("--read-point", metavar="NAME", help="this read point alone")


def add_out(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--out", metavar="FILE", help="write the answer as JSON (-: to standard output, alone)"
    )


def add_solving(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--time-limit", type=seconds, metavar="S", help="seconds for each read point (no limit)"
    )
    command.add_argument("--seed", type=seed, default=0, metavar="N", help="of the solver (0)")
    command.add_argument(
        "--prover",
        choices=("auto", "search", "model"),
        default="auto",
        help="exact search, mixed-integer model, or the one that suits the case (auto)",
    )


def solving(arguments: argparse.Namespace, *, unseen: bool = True) -> strategist.Options:
    """The options of `add_solving`."""
    return strategist.Options(arguments.time_limit, arguments.seed, arguments.prover, unseen)


def given(arguments: argparse.Namespace) -> tuple[strategist.ReadPoint, strategist.Strategy]:
    """The read point (named, the one that the file was made for, or the only one), the strategy."""
    source = arguments.strategy
    file = strategist.parse_strategy_file(strategist.read_file(source), source)
    case = strategist.read_case(arguments.case, arguments.read_point or file.read_point)
    if len(case.read_points) > 1:
        raise one_of(case, "one read point for the strategy")
    return case.read_points[0], file.strategy


def one_of(case: strategist.Case, what: str) -> InputError:
    names = ", ".join(point.name for point in case.read_points)
    return InputError.one("--read-point", "", f"{what}: {names}")


def refuse_out(out: str | None) -> None:
    if out is not None and out != "-":
        strategist.refuse_target(out)


def give(out: str | None, document: dict[str, Any], text: str) -> None:
    """The answer: as text, as text and a JSON file, or as JSON alone on standard output."""
    coded = json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)
    if out == "-":
        print(coded)
        return
    if out is not None:
        strategist.write_whole(out, coded + "\n")
    print(text)


def seconds(text: str) -> float:
    try:
        found = float(text)
    except ValueError:
        found = math.nan
    if not (math.isfinite(found) and found > 0):
        raise argparse.ArgumentTypeError(f'found "{text}"; allowed: a number of seconds above 0')
    return found


def weight(text: str) -> float:
    """A type of argument: a loss of 0 or more."""
    try:
        found = float(text)
    except ValueError:
        found = math.nan
    if not (math.isfinite(found) and found >= 0):
        raise argparse.ArgumentTypeError(f'found "{text}"; allowed: a loss of 0 or more')
    return found


def whole(low: int, high: int) -> Callable[[str], int]:
    """A type of argument: whole numbers from `low` to `high`."""

    def number(text: str) -> int:
        digits = text.isascii() and text.isdigit() and len(text) <= 10
        if not (digits and low <= int(text) <= high):
            allowed = f"a whole number from {low} to {high}"
            raise argparse.ArgumentTypeError(f'found "{text}"; allowed: {allowed}')
        return int(text)

    return number


seed = whole(0, _SEED_MAX)
