"""`templates`: few strategies for all read points of a batch."""

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

_loss = number("a loss of 0 or more", lambda found: found >= 0)


def add(commands: Commands) -> None:
    what = "choose few strategies for all read points of a batch"
    command = add_command(commands, "templates", _templates, what)
    command.add_argument("folder", metavar="FOLDER", help="results of batch")
    command.add_argument(
        "--at-most",
        type=whole(1, 1000),
        default=4,
        metavar="K",
        help="different strategies at most (default: 4)",
    )
    command.add_argument(
        "--max-extra-loss",
        type=_loss,
        metavar="L",
        help="extra loss that a read point may accept before it gets its own strategy (default: "
        "one missed tag)",
    )
    command.add_argument(
        "--time-limit",
        type=seconds,
        metavar="S",
        help="seconds for the whole answer (default: no limit)",
    )
    add_workers(command)
    add_out(command)


def _templates(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    with placed({"scheduler": "--scheduler"}), waiting_for(arguments.folder):
        site = strategist.site_templates(
            arguments.folder,
            arguments.at_most,
            max_extra_loss=arguments.max_extra_loss,
            workers=arguments.workers,
            scheduler=arguments.scheduler,
            time_limit_s=arguments.time_limit,
        )
    give(arguments.out, site.to_json(), strategist.templates_text(site))
    return OK
