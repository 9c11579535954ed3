"""`plan-acceptance`: how many passes show a rate of misses."""

from __future__ import annotations

import argparse

import strategist
from strategist.commands.arguments import (
    OK,
    Commands,
    add_command,
    add_out,
    give,
    number,
    refuse_out,
    whole,
)

_share = number("a share above 0 and below 1", lambda found: 0 < found < 1)


def add(commands: Commands) -> None:
    what = "say how many passes show that a rate of misses is low enough"
    plan = add_command(commands, "plan-acceptance", _plan, what)
    plan.add_argument(
        "--rate",
        type=_share,
        required=True,
        metavar="R",
        help="share of passes with a miss, as 0.05",
    )
    plan.add_argument(
        "--confidence", type=_share, default=0.95, metavar="C", help="of the verdict (0.95)"
    )
    plan.add_argument(
        "--errors",
        type=whole(0, 1000),
        default=0,
        metavar="N",
        help="failed passes that are allowed (0)",
    )
    add_out(plan)


def _plan(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    plan = strategist.plan_acceptance(arguments.rate, arguments.confidence, arguments.errors)
    give(arguments.out, plan.to_json(), strategist.plan_text(plan, "--errors"))
    return OK
