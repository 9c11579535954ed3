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
    give,
    one_of,
    refuse_out,
    say,
    seconds,
    seed,
)
from strategist.errors import InputError

__all__ = ["add"]


def add(commands: Commands) -> None:
    command = add_command(commands, "solve", _solve, "find the best strategy and prove it")
    add_case(command)
    add_read_point(command)
    add_out(command)
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


def _solve(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    case = strategist.read_case(arguments.case, arguments.read_point)
    points = case.read_points
    if arguments.out is not None and len(points) > 1:
        raise one_of(case, "one read point for --out")
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
            status = say(str(error), BAD_INPUT)
            continue
        last = number + 1 == len(points)
        text = strategist.result_text(result, point.policy, caution=last)
        give(arguments.out, result.to_json(), text + ("" if last else "\n"))
    return status
