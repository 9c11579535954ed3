"""The command line. It uses the public names of the library, which load when they are needed."""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TextIO

import strategist
from strategist.commands import (
    accept,
    batch,
    check,
    compare,
    export,
    import_log,
    keys,
    lawful,
    new,
    plan,
    report,
    site,
    start,
    templates,
)
from strategist.commands.arguments import BAD_INPUT, INTERRUPTED, NO_ANSWER, PIPE_CLOSED, say
from strategist.commands.ask import add_question
from strategist.commands.parser import CommandParser
from strategist.errors import InputError, StrategistError

__all__ = ["command_parser", "main"]

_OWN = {  # commands that ask nothing of a read point, or take more than one strategy
    "import": import_log.add,
    "new": new.add,
    "keys": keys.add,
    "check": check.add,
    "lawful": lawful.add,
    "compare": compare.add,
    "export": export.add,
    "batch": batch.add,
    "templates": templates.add,
    "site": site.add,
    "report": report.add,
    "accept": accept.add,
    "plan": plan.add,
}
_ORDER = (
    *("import", "new", "keys", "plan", "check", "masks", "lawful"),
    *("solve", "assess", "trade-offs", "compare", "export", "report"),
    *("accept", "batch", "templates", "site"),
)
_DEFECT_CHARACTERS = 300
_EPILOG = (
    "exit status: 0 done; 1 the case is unusable (check), the run was not accepted "
    "(accept) or read points lack an answer (batch); 2 bad input; 3 no reliable answer; "
    "130 interrupted"
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; `argv` None takes the process's own. Returns the exit status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    given = sys.argv[1:] if argv is None else argv
    arguments = command_parser(*given[:1]).parse_args(argv)
    run: Callable[[argparse.Namespace], int] = arguments.run
    output = _Output(sys.stdout)
    try:
        start.begin()
        with contextlib.redirect_stdout(output):
            status = run(arguments)
            output.flush()
        return status
    except (Exception, KeyboardInterrupt) as error:
        if sys.flags.dev_mode:
            raise
        return _excuse(error, output)


class _Output(io.TextIOBase):
    """Standard output that remembers the error with which it took no more.

    What was not taken may be lost with the error (a long text, or Python unbuffered), so to ask
    the stream itself afterwards tells nothing.
    """

    def __init__(self, stream: TextIO | None) -> None:
        self._stream = stream  # None: there is none, and nothing is written
        self.error: OSError | None = None

    def write(self, text: str) -> int:
        with self._noting():
            return len(text) if self._stream is None else self._stream.write(text)

    def flush(self) -> None:
        with self._noting():
            if self._stream is not None:
                self._stream.flush()

    def close(self) -> None:
        """Nothing: the stream goes on when this is gone."""

    @contextlib.contextmanager
    def _noting(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            self.error = error
            raise


def _excuse(error: BaseException, output: _Output) -> int:
    """Say what went wrong in words that a user can act upon; returns the exit status."""
    if isinstance(error, OSError):  # files that a user names raise InputError
        return _of_system(error, output)
    if isinstance(error, InputError):
        return say(str(error), BAD_INPUT)
    if isinstance(error, KeyboardInterrupt):
        return say("Interrupted.", INTERRUPTED)
    if isinstance(error, MemoryError):
        return say("This machine has not enough memory for this case.", NO_ANSWER)
    if isinstance(error, StrategistError):
        return say(f"No reliable answer: {error}.", NO_ANSWER)
    return say(_defect(error), NO_ANSWER)


def _of_system(error: OSError, output: _Output) -> int:
    """What the system refused: a file by its name, standard output, or something else."""
    why = error.strerror or str(error)
    if error is output.error:
        _silence()
        if isinstance(error, BrokenPipeError):
            return PIPE_CLOSED
        return say(f"standard output: {why}", BAD_INPUT)
    if error.filename is not None:
        return say(f"{error.filename}: {why}", BAD_INPUT)
    return say(f"The system refused what the command needs: {why}.", NO_ANSWER)


def _defect(error: BaseException) -> str:
    """An error of our own, with the place that whoever mends it needs."""
    import traceback  # noqa: PLC0415 (slow to load)

    frames = traceback.extract_tb(error.__traceback__)
    at = f" ({Path(frames[-1].filename).name}, line {frames[-1].lineno})" if frames else ""
    words = " ".join(f"{type(error).__name__}: {error}".split())[:_DEFECT_CHARACTERS]
    return (
        f"A defect of strategist{at}: {words}. Please report it with the command and its input; "
        "python -X dev -m strategist … shows more."
    )


def _silence() -> None:
    """Send what is still to be written to nowhere, or Python complains of it on its way out."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def command_parser(asked: str = "") -> argparse.ArgumentParser:
    """The parser with all commands, or that of the one asked for, where there is such: it is made
    in a tenth of the time."""
    parser = CommandParser(
        prog="strategist",
        description="Choose power, step ladder, signal cutoff and masks for UHF RFID read points. "
        "Begin with new, or with import where a reader wrote a log; then check and solve.",
        epilog=_EPILOG,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=strategist.__version__)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    questions = {one.name: partial(add_question, name=one.name) for one in strategist.QUESTIONS}
    known = questions | _OWN
    for name in [asked] if asked in known else dict.fromkeys((*_ORDER, *known)):
        known[name](commands)
    return parser


if __name__ == "__main__":
    sys.exit(main())
