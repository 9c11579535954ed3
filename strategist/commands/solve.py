"""`solve`: the best strategy of each read point, with its proof."""

from __future__ import annotations

import argparse
from typing import Any

import strategist
from strategist.commands.arguments import (
    Commands,
    add_case,
    add_command,
    add_solving,
    each_point,
    solving,
)

__all__ = ["add"]


def add(commands: Commands) -> None:
    command = add_command(commands, "solve", _solve, "find the best strategy and prove it")
    add_case(command)
    add_solving(command)


def _solve(arguments: argparse.Namespace) -> int:
    options = solving(arguments)

    def answer(point: strategist.ReadPoint, last: bool) -> tuple[dict[str, Any], str]:
        result = strategist.choose(point, options)
        return result.to_json(), strategist.result_text(result, point.policy, caution=last)

    return each_point(arguments, answer)
