"""The command line. It uses the public names of the library, which load when they are needed."""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import math
import os
import sys
from collections.abc import Callable, Sequence
from typing import Any

import strategist
from strategist.errors import InputError, StrategistError

__all__ = ["main"]

OK, UNUSABLE, BAD_INPUT, NO_ANSWER = 0, 1, 2, 3
INTERRUPTED, PIPE_CLOSED = 130, 141  # 128 + the number of the signal, as shells count
_SEED_MAX = 2**31 - 1  # of the solver
_EPILOG = (
    "exit status: 0 done; 1 the case is unusable (check); 2 bad input; 3 no answer that can "
    "be stood by; 130 interrupted"
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; `argv` None takes the process's own. Returns the exit status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    arguments = _parser().parse_args(argv)
    run: Callable[[argparse.Namespace], int] = arguments.run
    try:
        status = run(arguments)
        if sys.stdout is not None:
            sys.stdout.flush()
        return status
    except (StrategistError, MemoryError, KeyboardInterrupt, OSError) as error:
        return _excuse(error)


def _excuse(error: BaseException) -> int:
    """Say what went wrong in words that a user can act upon; returns the exit status."""
    if isinstance(error, OSError):  # files that a user names raise InputError
        _silence()
        if isinstance(error, BrokenPipeError):
            return PIPE_CLOSED
        return _say(f"standard output: {error.strerror or error}", BAD_INPUT)
    if isinstance(error, InputError):
        return _say(str(error), BAD_INPUT)
    if isinstance(error, KeyboardInterrupt):
        return _say("Interrupted.", INTERRUPTED)
    if isinstance(error, MemoryError):
        return _say("This machine has not enough memory for this case.", NO_ANSWER)
    return _say(f"No answer that can be stood by: {error}.", NO_ANSWER)


def _say(message: str, status: int) -> int:
    with contextlib.suppress(OSError):
        print(message, file=sys.stderr)
    return status


def _silence() -> None:
    """Send what is still to be written to nowhere, or Python complains of it on its way out."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _check(arguments: argparse.Namespace) -> int:
    try:
        case = strategist.read_case(arguments.case)
    except InputError as error:
        _say(str(error), UNUSABLE)
        faults = len(error.faults)
        print(f"Unusable: {faults} fault{'' if faults == 1 else 's'}, listed above.")
        return UNUSABLE
    checked = strategist.check(case)
    print(strategist.check_text(case, checked))
    return UNUSABLE if any(one.refusal is not None for one in checked) else OK


def _solve(arguments: argparse.Namespace) -> int:
    _refuse_target(arguments.out)
    case = strategist.read_case(arguments.case, arguments.read_point)
    points = case.read_points
    if arguments.out is not None and len(points) > 1:
        raise _one_of(case, "one read point for --out")
    options = strategist.Options(arguments.time_limit, arguments.seed, arguments.prover)
    status = OK
    for number, point in enumerate(points):
        try:
            result = strategist.choose(point, options)
        except strategist.TooManySelectionsError:
            allowed = "auto or model: this case has too many mask chains for the search"
            raise InputError.one("--prover", "search", allowed) from None
        except InputError as error:
            if len(points) == 1:
                raise
            status = _say(str(error), BAD_INPUT)
            continue
        last = number + 1 == len(points)
        text = strategist.result_text(result, point.policy, caution=last)
        _give(arguments.out, result.to_json(), text + ("" if last else "\n"))
    return status


def _evaluate(arguments: argparse.Namespace) -> int:
    _refuse_target(arguments.out)
    point, strategy = _given(arguments)
    evaluation = strategist.evaluate_at(point, strategy)
    text = strategist.evaluation_text(evaluation, point.policy)
    _give(arguments.out, evaluation.to_json(), text)
    return OK


def _export(arguments: argparse.Namespace) -> int:
    _refuse_target(arguments.out)
    table = None
    if arguments.power_table is not None:
        if arguments.form != "llrp":
            raise InputError.one("--power-table", arguments.power_table, "only with --as llrp")
        source = arguments.power_table
        table = strategist.read_power_table(strategist.read_text(source), source)
    point, strategy = _given(arguments)
    document = strategist.settings_document(point, strategy, arguments.form, table)
    _give(arguments.out, document, strategist.settings_text(document))
    return OK


def _given(arguments: argparse.Namespace) -> tuple[strategist.ReadPoint, strategist.Strategy]:
    """The read point (named, the one that the file was made for, or the only one), the strategy."""
    source = arguments.strategy
    file = strategist.parse_strategy_file(strategist.read_file(source), source)
    case = strategist.read_case(arguments.case, arguments.read_point or file.read_point)
    if len(case.read_points) > 1:
        raise _one_of(case, "one read point for the strategy")
    return case.read_points[0], file.strategy


def _one_of(case: strategist.Case, what: str) -> InputError:
    names = ", ".join(point.name for point in case.read_points)
    return InputError.one("--read-point", "", f"{what}: {names}")


def _refuse_target(out: str | None) -> None:
    if out is not None and out != "-":
        strategist.refuse_target(out)


def _give(out: str | None, document: dict[str, Any], text: str) -> None:
    """The answer: as text, as text and a JSON file, or as JSON alone on standard output."""
    coded = json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)
    if out == "-":
        print(coded)
        return
    if out is not None:
        strategist.write_whole(out, coded + "\n")
    print(text)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="strategist",
        description="Choose power, step ladder, signal cutoff and masks for UHF RFID read points.",
        epilog=_EPILOG,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=strategist.__version__)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    command = _command(commands, "check", _check, "say what is wrong or weak in a case")
    command = _command(commands, "solve", _solve, "find the best strategy and prove it")
    _add_common(command)
    command.add_argument(
        "--time-limit", type=_seconds, metavar="S", help="seconds for each read point (no limit)"
    )
    command.add_argument("--seed", type=_seed, default=0, metavar="N", help="of the solver (0)")
    command.add_argument(
        "--prover",
        choices=("auto", "search", "model"),
        default="auto",
        help="exact search, mixed-integer model, or the one that suits the case (auto)",
    )
    command = _command(commands, "evaluate", _evaluate, "say what a given strategy would do")
    _add_common(command, strategy=True)
    command = _command(commands, "export", _export, "write a strategy in terms of open standards")
    _add_common(command, strategy=True)
    command.add_argument(
        "--as",
        dest="form",
        choices=("gen2", "llrp"),
        required=True,
        help="Gen2 Select commands, or LLRP parameters",
    )
    command.add_argument(
        "--power-table",
        metavar="FILE",
        help="CSV with index,power_dbm: the reader's own table of transmit powers (for llrp)",
    )
    return parser


def _command(
    commands: Any, name: str, run: Callable[[argparse.Namespace], int], what: str
) -> argparse.ArgumentParser:
    command: argparse.ArgumentParser = commands.add_parser(
        name, help=what, description=what, allow_abbrev=False
    )
    command.add_argument(
        "case", metavar="CASE", help="folder with reads.csv, roster.csv, site.json"
    )
    command.set_defaults(run=run)
    return command


def _add_common(command: argparse.ArgumentParser, *, strategy: bool = False) -> None:
    if strategy:
        command.add_argument(
            "--strategy",
            required=True,
            metavar="FILE",
            help="a strategy, or a result of solve, as JSON",
        )
    command.add_argument("--read-point", metavar="NAME", help="this read point alone")
    command.add_argument(
        "--out", metavar="FILE", help="write the answer as JSON (-: to standard output, alone)"
    )


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = math.nan
    if not (math.isfinite(seconds) and seconds > 0):
        raise argparse.ArgumentTypeError(f'found "{text}"; allowed: a number of seconds above 0')
    return seconds


def _seed(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 10 and int(text) <= _SEED_MAX):
        allowed = f"a whole number from 0 to {_SEED_MAX}"
        raise argparse.ArgumentTypeError(f'found "{text}"; allowed: {allowed}')
    return int(text)


if __name__ == "__main__":
    sys.exit(main())
