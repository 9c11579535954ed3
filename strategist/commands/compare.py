"""`compare`: what given strategies would do on one survey, alone or side by side."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import strategist
from strategist.commands.arguments import (
    OK,
    Answered,
    Commands,
    Files,
    add_case,
    add_command,
    add_detail,
    each_point,
    file_for,
    points_for,
    refuse_out,
)
from strategist.errors import InputError


def add(commands: Commands) -> None:
    what = "say what a given strategy would do; several: side by side, with what to change"
    command = add_command(commands, "compare", _compare, what)
    add_case(command)
    add_detail(command)
    command.add_argument(
        "--strategy",
        dest="strategies",
        required=True,
        action="append",
        metavar="FILE",
        help="a strategy, or results of solve (with the sturdier one that each may hold), as JSON; "
        "may be repeated: the first is compared with each other one",
    )


def _compare(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    sources = arguments.strategies
    read = strategist.read_file
    files = [strategist.parse_strategy_files(read(source), source) for source in sources]
    named = list(zip(_names(sources), sources, files, strict=True))

    def answer(point: strategist.ReadPoint, _: bool) -> Answered:
        sides = [
            side
            for name, source, held in named
            for side in _sides(arguments, point, name, source, held)
        ]
        if not sides:
            wrong = f"no file holds a strategy for {point.name}"
            raise InputError.one("--strategy", "", "a file that does", wrong=wrong)
        found = strategist.compare(point, sides)
        if len(sides) == 1:
            (one,), name = found.evaluations, sides[0].name
            text = strategist.evaluation_text(one, point.policy, name, detail=arguments.detail)
        else:
            text = strategist.comparison_text(found)
        return found.to_json(), text, OK

    case = points_for(arguments, [one for held in files for one in held])
    return each_point(arguments, case, answer)


def _sides(
    arguments: argparse.Namespace,
    point: strategist.ReadPoint,
    name: str,
    source: str,
    held: Files,
) -> list[strategist.Side]:
    """What a file gives at a read point: its strategy, and the sturdier one that it may hold."""
    file = file_for(arguments, held, point.name)
    if file is None:
        return []
    sides = [strategist.Side(name, file.strategy, source)]
    if file.sturdier is not None:
        sides.append(strategist.Side(f"{name}, sturdier", file.sturdier, source))
    return sides


def _names(sources: Sequence[str]) -> list[str]:
    """The files' names without ending; the paths as given where two would be the same."""
    short = [Path(source).stem for source in sources]
    return short if len(set(short)) == len(short) else list(sources)
