"""The command line. It uses the public names of the library, which load when they are needed."""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import sys
from collections.abc import Callable, Sequence

import strategist
from strategist.commands import (
    acceptance,
    batch,
    check,
    compare,
    evaluate,
    export,
    frontier,
    judge,
    lawful,
    masks,
    report,
    solve,
    techniques,
    templates,
    what_if,
)
from strategist.commands.arguments import BAD_INPUT, INTERRUPTED, NO_ANSWER, PIPE_CLOSED, say
from strategist.errors import InputError, StrategistError

__all__ = ["command_parser", "main"]

_COMMANDS = (
    *(check, masks, lawful, solve, judge, frontier, techniques, what_if),
    *(evaluate, compare, export, batch, templates, report, acceptance),
)
_EPILOG = (
    "exit status: 0 done; 1 the case is unusable (check), the run is no pass (accept) or read "
    "points lack an answer (batch); 2 bad input; 3 no answer that can be stood by; 130 interrupted"
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; `argv` None takes the process's own. Returns the exit status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    arguments = command_parser().parse_args(argv)
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
        return say(f"standard output: {error.strerror or error}", BAD_INPUT)
    if isinstance(error, InputError):
        return say(str(error), BAD_INPUT)
    if isinstance(error, KeyboardInterrupt):
        return say("Interrupted.", INTERRUPTED)
    if isinstance(error, MemoryError):
        return say("This machine has not enough memory for this case.", NO_ANSWER)
    return say(f"No answer that can be stood by: {error}.", NO_ANSWER)


def _silence() -> None:
    """Send what is still to be written to nowhere, or Python complains of it on its way out."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def command_parser() -> argparse.ArgumentParser:
    """The parser with all commands."""
    parser = argparse.ArgumentParser(
        prog="strategist",
        description="Choose power, step ladder, signal cutoff and masks for UHF RFID read points.",
        epilog=_EPILOG,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=strategist.__version__)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for module in _COMMANDS:
        module.add(commands)
    return parser


if __name__ == "__main__":
    sys.exit(main())
