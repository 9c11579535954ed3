"""`site`: the plan of a whole site."""

from __future__ import annotations

import argparse
from contextlib import nullcontext

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
from strategist.commands.processes import all_processors
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
    add_out(command)


def _site(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    with waiting_for(arguments.case):
        case = strategist.read_case(arguments.case)
        options = strategist.read_options(arguments.case, case)
        named = {"at_most": "--at-most", "budget": "--budget"}
        several = len(case) - sum(len(one.read_points) - 1 for one in case.readers.values()) > 1
        with placed(named), all_processors() if several else nullcontext(map) as mapped:
            plan = strategist.plan_site(
                case,
                arguments.at_most,
                arguments.budget,
                options=options,
                time_limit_s=arguments.time_limit,
                mapped=mapped,
            )
    give(arguments.out, plan.to_json(), strategist.site_plan_text(plan))
    return OK
