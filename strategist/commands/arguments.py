"""What the commands share: arguments, the case or strategy that they name, giving answers."""

from __future__ import annotations

import argparse
import contextlib
import json
import math
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

import strategist
from strategist.errors import InputError

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


def add_case(
    command: argparse.ArgumentParser, *, strategy: bool = False, read_point: bool = True
) -> None:
    """A case, a strategy for it and one of its read points as asked for, and where to answer."""
    command.add_argument(
        "case", metavar="CASE", help="folder with reads.csv, roster.csv, site.json"
    )
    if strategy:
        command.add_argument(
            "--strategy",
            required=True,
            metavar="FILE",
            help="a strategy, or a result of solve, as JSON",
        )
        command.add_argument(
            "--sturdier",
            action="store_true",
            help="of a result, the sturdier strategy in place of the best",
        )
    if read_point:
        command.add_argument("--read-point", metavar="NAME", help="this read point alone")
    add_out(command)


def add_out(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--out", metavar="FILE", help="write the answer as JSON (-: to standard output, alone)"
    )


def add_solving(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--time-limit",
        type=seconds,
        metavar="S",
        help="seconds for the whole answer at each read point (no limit)",
    )
    command.add_argument("--seed", type=seed, default=0, metavar="N", help="of the solver (0)")
    command.add_argument(
        "--prover",
        choices=("auto", "search", "model"),
        default="auto",
        help="exact search, mixed-integer model, or the one that suits the case (auto)",
    )


def solving(
    arguments: argparse.Namespace, *, unseen: bool = True, sturdier: bool = True
) -> strategist.Options:
    """The options of `add_solving`."""
    return strategist.Options(
        seed=arguments.seed,
        prover=arguments.prover,
        unseen=unseen,
        sturdier=sturdier,
        total_limit_s=arguments.time_limit,
    )


def given(arguments: argparse.Namespace) -> tuple[strategist.ReadPoint, strategist.Strategy]:
    """The read point (named, the one that the file was made for, or the only one), the strategy."""
    refuse_out(arguments.out)
    source = arguments.strategy
    file = strategist.parse_strategy_file(strategist.read_file(source), source)
    case = strategist.read_case(arguments.case, arguments.read_point or file.read_point)
    if len(case.read_points) > 1:
        raise one_of(case, "--strategy")
    return case.read_points[0], _of_file(file, source, sturdier=arguments.sturdier)


def _of_file(file: strategist.StrategyFile, source: str, *, sturdier: bool) -> strategist.Strategy:
    if not sturdier:
        return file.strategy
    if file.sturdier is None:
        wrong = f"{source} holds no sturdier strategy"
        raise InputError.one("--sturdier", source, "Leave --sturdier out.", wrong=wrong)
    return file.sturdier


def each_point(
    arguments: argparse.Namespace,
    answer: Callable[[strategist.ReadPoint, bool], tuple[dict[str, Any], str]],
) -> int:
    """Give the answer (as JSON and as text) for each read point named; returns the exit status.

    `answer` is told whether the read point is the last. Where there are several, a fault of one is
    said and the others are answered.
    """
    refuse_out(arguments.out)
    case = strategist.read_case(arguments.case, arguments.read_point)
    points = case.read_points
    if arguments.out is not None and len(points) > 1:
        raise one_of(case, "--out")
    status = OK
    for number, point in enumerate(points, 1):
        last = number == len(points)
        try:
            document, text = answer(point, last)
        except InputError as error:
            if len(points) == 1:
                raise
            status = say(str(error), BAD_INPUT)
            continue
        give(arguments.out, document, text + ("" if last else "\n"))
    return status


@contextlib.contextmanager
def placed(options: Mapping[str, str]) -> Iterator[None]:
    """Faults of what the library calls by a key are told by the option that gave it."""
    try:
        yield
    except InputError as error:
        raise type(error)(
            replace(fault, source=options.get(fault.source, fault.source)) for fault in error.faults
        ) from None


def one_of(case: strategist.Case, what: str) -> InputError:
    names = ", ".join(point.name for point in case.read_points)
    todo = f"Add --read-point NAME ({names})."
    return InputError.one(what, "", todo, wrong="takes one read point")


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


def number(allowed: str, fits: Callable[[float], bool]) -> Callable[[str], float]:
    """A type of argument: finite numbers that fit."""

    def read(text: str) -> float:
        try:
            found = float(text)
        except ValueError:
            found = math.nan
        if not (math.isfinite(found) and fits(found)):
            raise argparse.ArgumentTypeError(f'"{text}" is not valid. Give {allowed}.')
        return found

    return read


def whole(low: int, high: int) -> Callable[[str], int]:
    """A type of argument: whole numbers from `low` to `high`."""

    def read(text: str) -> int:
        digits = text.isascii() and text.isdigit() and len(text) <= 10
        if not (digits and low <= int(text) <= high):
            allowed = f"a whole number from {low} to {high}"
            raise argparse.ArgumentTypeError(f'"{text}" is not valid. Give {allowed}.')
        return int(text)

    return read


seed = whole(0, _SEED_MAX)
seconds = number("a number of seconds above 0", lambda found: found > 0)
