"""`solve`: the best strategy of each read point, with its proof."""

from __future__ import annotations

import argparse

import strategist
from strategist.commands.arguments import (
    BAD_INPUT,
    OK,
    Commands,
    add_case,
    add_command,
    add_out,
    add_read_point,
    add_solving,
    give,
    one_of,
    refuse_out,
    say,
    solving,
)
from strategist.errors import InputError

__all__ = ["add"]


def add(commands: Commands) -> None:
    command = add_command(commands, "solve", _solve, "find the best strategy and prove it")
    add_case(command)
    add_read_point(command)
    add_out(command)
    add_solving(command)


def _solve(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    case = strategist.read_case(arguments.case, arguments.read_point)
    points = case.read_points
    if arguments.out is not None and len(points) > 1:
        raise one_of(case, "one read point for --out")
    options = solving(arguments)
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
            status = say(str(error), BAD_INPUT)
            continue
        last = number + 1 == len(points)
        text = strategist.result_text(result, point.policy, caution=last)
        give(arguments.out, result.to_json(), text + ("" if last else "\n"))
    return status
