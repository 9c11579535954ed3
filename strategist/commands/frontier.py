"""`frontier`: every sensible compromise between missed and stray tags, with the proof."""

from __future__ import annotations

import argparse
from typing import Any

import strategist
from strategist.commands.arguments import Commands, add_case, add_command, each_point, seconds

__all__ = ["add"]


def add(commands: Commands) -> None:
    what = "list every compromise of missed and stray tags that no other betters"
    command = add_command(commands, "frontier", _frontier, what)
    add_case(command)
    command.add_argument(
        "--time-limit",
        type=seconds,
        metavar="S",
        help="seconds for the whole answer at each read point (no limit)",
    )


def _frontier(arguments: argparse.Namespace) -> int:
    options = strategist.Options(total_limit_s=arguments.time_limit)

    def answer(point: strategist.ReadPoint, last: bool) -> tuple[dict[str, Any], str]:
        frontier = strategist.trace_frontier(point, options)
        return frontier.to_json(), strategist.frontier_text(frontier, caution=last)

    return each_point(arguments, answer)
