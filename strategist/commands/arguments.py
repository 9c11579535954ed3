"""What the commands share: arguments, the case or strategy that they name, giving answers."""

from __future__ import annotations

import argparse
import contextlib
import json
import math
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import strategist
from strategist.commands.waiting import waiting_for
from strategist.errors import InputError

OK, UNUSABLE, BAD_INPUT, NO_ANSWER = 0, 1, 2, 3
INCOMPLETE = UNUSABLE  # of a batch: some read points have no answer
INTERRUPTED, PIPE_CLOSED = 130, 141  # 128 + the number of the signal, as shells count
_SEED_MAX = 2**31 - 1  # of the solver

Commands = Any  # the sub-parsers of argparse, whose type has no public name
Answered = tuple[dict[str, Any], str, int]  # an answer as JSON, its words, the exit status


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
    command: argparse.ArgumentParser, *, strategy: bool = False, needed: bool = True
) -> None:
    """A case, a strategy for it as asked for, its read points, and where to answer."""
    command.add_argument(
        "case",
        metavar="CASE",
        nargs=None if needed else "?",
        help="folder with reads.csv, roster.csv, site.json",
    )
    if strategy:
        command.add_argument(
            "--strategy",
            required=needed,
            metavar="FILE",
            help="a strategy, or results of solve, as JSON",
        )
        command.add_argument(
            "--sturdier",
            action="store_true",
            help="take the sturdier strategy of a result in place of the best",
        )
    add_read_points(command)
    add_out(command, by_point=True)


def add_read_points(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--read-point",
        dest="read_points",
        action="append",
        default=[],
        metavar="NAME",
        help="a read point (default: all); may be repeated",
    )


def add_out(command: argparse.ArgumentParser, *, by_point: bool = False) -> None:
    several = ", a list where there are several read points" if by_point else ""
    command.add_argument(
        "--out",
        metavar="FILE",
        help=f"write the answer as JSON{several} (-: to standard output, in place of the text)",
    )


def add_detail(command: argparse.ArgumentParser) -> None:
    command.add_argument("--detail", action="store_true", help="say what is rarely read, too")


def add_solving(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--time-limit",
        type=seconds,
        metavar="S",
        help="seconds for the whole answer at each read point (default: no limit)",
    )
    advanced = command.add_argument_group("advanced")
    advanced.add_argument(
        "--method",
        choices=("auto", "search", "model"),
        default="auto",
        help="how to prove: exact search, mixed-integer model, or whichever suits the read point "
        "(default: auto)",
    )
    advanced.add_argument(
        "--seed", type=seed, default=0, metavar="N", help="random seed of the solver (default: 0)"
    )


def solving(
    arguments: argparse.Namespace, *, unseen: bool = True, sturdier: bool = True
) -> strategist.Options:
    """The options of `add_solving`."""
    return strategist.Options(
        seed=arguments.seed,
        method=arguments.method,
        unseen=unseen,
        sturdier=sturdier,
        total_limit_s=arguments.time_limit,
    )


def case_of(arguments: argparse.Namespace, names: Sequence[str] = ()) -> strategist.Case:
    """The case with the read points named by `--read-point`, else with those of `names`, else with
    all; in the order of site.json."""
    wanted = tuple(dict.fromkeys(arguments.read_points or names))
    with placed({"read point": "--read-point" if arguments.read_points else "--strategy"}):
        if len(wanted) == 1:
            with waiting_for(arguments.case):
                return strategist.read_case(arguments.case, wanted[0])
        with waiting_for(arguments.case):
            case = strategist.read_case(arguments.case)
        if not wanted:
            return case
        chosen = {case[name].name for name in wanted}
    return replace(case, read_points=tuple(one for one in case if one.name in chosen))


Files = Sequence["strategist.StrategyFile"]


def points_for(arguments: argparse.Namespace, files: Files) -> strategist.Case:
    """The case with the read points that are asked for: those that `files` name, where no
    `--read-point` does."""
    return case_of(arguments, [one.read_point for one in files if one.read_point is not None])


def file_for(
    arguments: argparse.Namespace, files: Files, name: str
) -> strategist.StrategyFile | None:
    """Which of a file's strategies is for a read point: the one that names it, one that names none,
    or a single one where `--read-point` asks for it elsewhere. None: there is none."""
    for one in files:
        if one.read_point in (name, None):
            return one
    return files[0] if arguments.read_points and len(files) == 1 else None


def each_strategy(
    arguments: argparse.Namespace,
    answer: Callable[[strategist.ReadPoint, strategist.Strategy, bool], Answered],
) -> int:
    """Give the answer about the strategy of `--strategy` at each read point that it is for."""
    refuse_out(arguments.out)
    source = arguments.strategy
    files = strategist.parse_strategy_files(strategist.read_file(source), source)

    def of_point(point: strategist.ReadPoint, last: bool) -> Answered:
        file = file_for(arguments, files, point.name)
        if file is None:
            wrong = f"holds no strategy for {point.name}"
            raise InputError.one(source, "", "a file that does", wrong=wrong)
        return answer(point, _of_file(file, source, sturdier=arguments.sturdier), last)

    return each_point(arguments, points_for(arguments, files), of_point)


def _of_file(file: strategist.StrategyFile, source: str, *, sturdier: bool) -> strategist.Strategy:
    if not sturdier:
        return file.strategy
    if file.sturdier is None:
        wrong = f"{source} holds no sturdier strategy"
        raise InputError.one("--sturdier", source, "Leave --sturdier out.", wrong=wrong)
    return file.sturdier


def each_point(
    arguments: argparse.Namespace,
    case: strategist.Case,
    answer: Callable[[strategist.ReadPoint, bool], Answered],
) -> int:
    """Give the answer at each read point of a case; returns the exit status, the worst of all.

    `answer` is told whether the read point is the last. Where there are several, a fault of one is
    said and the others are answered; `--out` holds a list of what was answered.
    """
    if len(case) == 1:
        with waiting_for(case.read_points[0].name):
            document, text, status = answer(case.read_points[0], True)
        give(arguments.out, document, text)
        return status
    status, documents = OK, []
    for number, point in enumerate(case, 1):
        last = number == len(case)
        try:
            with waiting_for(point.name):
                document, text, found = answer(point, last)
        except InputError as error:
            status = say(str(error), BAD_INPUT)
            continue
        status = max(status, found)
        documents.append(document)
        if arguments.out != "-":
            print(text + ("" if last else "\n"))
    if arguments.out is not None and documents:
        write(arguments.out, documents)
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


def refuse_out(out: str | None) -> None:
    if out is not None and out != "-":
        strategist.refuse_target(out)


def give(out: str | None, document: dict[str, Any], text: str) -> None:
    """The answer: as text, as text and a JSON file, or as JSON alone on standard output."""
    if out is not None:
        write(out, document)
    if out != "-":
        print(text)


def write(out: str, document: Any) -> None:
    """A document as JSON: into a file, whole or not at all, or on standard output ("-")."""
    coded = json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)
    if out == "-":
        print(coded)
    else:
        strategist.write_whole(out, coded + "\n")


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
