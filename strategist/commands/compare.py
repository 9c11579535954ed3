"""`compare`: strategies side by side on one survey."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import strategist
from strategist.commands.arguments import (
    OK,
    Commands,
    add_case,
    add_command,
    give,
    one_of,
    refuse_out,
)
from strategist.errors import InputError


def add(commands: Commands) -> None:
    what = "compare given strategies on one survey, the first with each other one"
    command = add_command(commands, "compare", _compare, what)
    add_case(command)
    command.add_argument(
        "--strategy",
        dest="strategies",
        required=True,
        action="append",
        metavar="FILE",
        help="a strategy, or a result of solve (with the sturdier one that it may hold), as JSON; "
        "two or more times",
    )


def _compare(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    sources = arguments.strategies
    if len(sources) < 2:
        wrong = f"{sources[0]} alone cannot be compared"
        raise InputError.one("--strategy", sources[0], "two files or more", wrong=wrong)
    read = strategist.read_file
    files = [strategist.parse_strategy_file(read(source), source) for source in sources]
    case = strategist.read_case(arguments.case, arguments.read_point or _made_for(files))
    if len(case.read_points) > 1:
        raise one_of(case, "--strategy")
    sides = [
        strategist.Side(name, strategy, source)
        for short, file, source in zip(_names(sources), files, sources, strict=True)
        for name, strategy in ((short, file.strategy), (f"{short}, sturdier", file.sturdier))
        if strategy is not None
    ]
    found = strategist.compare(case.read_points[0], sides)
    give(arguments.out, found.to_json(), strategist.comparison_text(found))
    return OK


def _made_for(files: Sequence[strategist.StrategyFile]) -> str | None:
    """The read point that the files name, None where they name none; one for all, or an error."""
    names = {file.read_point for file in files if file.read_point is not None}
    if len(names) > 1:
        wrong = f"the files are for different read points ({', '.join(sorted(names))})"
        raise InputError.one("--strategy", "", "Add --read-point NAME.", wrong=wrong)
    return next(iter(names), None)


def _names(sources: Sequence[str]) -> list[str]:
    """The files' names without ending; the paths as given where two would be the same."""
    short = [Path(source).stem for source in sources]
    return short if len(set(short)) == len(short) else list(sources)
