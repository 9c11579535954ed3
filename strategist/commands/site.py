"""`site`: the plan of a whole site."""

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
    placed,
    refuse_out,
    seconds,
    whole,
)
from strategist.commands.batch import add_workers
from strategist.commands.waiting import waiting_for

_money = number("an amount of 0 or more", lambda found: found >= 0)


def add(commands: Commands) -> None:
    what = "plan a whole site: shared readers, few settings, a budget, options"
    command = add_command(commands, "site", _site, what)
    command.add_argument("case", metavar="CASE", help="folder of a case; readers in its site.json")
    command.add_argument(
        "--at-most",
        type=whole(1, 1000),
        metavar="K",
        help="different settings at most (default: any number)",
    )
    command.add_argument(
        "--budget",
        type=_money,
        metavar="B",
        help="money for visits, settings and options, by cost in site.json (default: any)",
    )
    command.add_argument(
        "--time-limit",
        type=seconds,
        metavar="S",
        help="seconds for the whole answer (default: no limit)",
    )
    add_workers(command)
    add_out(command)


def _site(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    with waiting_for(arguments.case):
        case = strategist.read_case(arguments.case)
        options = strategist.read_options(arguments.case, case)
        named = {"at_most": "--at-most", "budget": "--budget", "scheduler": "--scheduler"}
        with placed(named):
            plan = strategist.plan_site(
                case,
                arguments.at_most,
                arguments.budget,
                options=options,
                time_limit_s=arguments.time_limit,
                workers=arguments.workers,
                scheduler=arguments.scheduler,
            )
    give(arguments.out, plan.to_json(), strategist.site_plan_text(plan))
    return OK
