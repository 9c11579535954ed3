"""`export`: a strategy in the terms of open standards."""

from __future__ import annotations

import argparse

import strategist
from strategist.commands.arguments import (
    OK,
    Answered,
    Commands,
    add_case,
    add_command,
    each_strategy,
    placed,
)
from strategist.errors import InputError


def add(commands: Commands) -> None:
    what = "write the settings of a strategy in terms of open standards"
    command = add_command(commands, "export", _export, what)
    add_case(command, strategy=True)
    command.add_argument(
        "--format",
        choices=("gen2", "llrp"),
        required=True,
        help="Gen2 Select commands, or LLRP parameters",
    )
    command.add_argument(
        "--power-table",
        metavar="FILE",
        help="CSV with index,power_dbm: the reader's own table of transmit powers (for llrp)",
    )


def _export(arguments: argparse.Namespace) -> int:
    table = None
    if arguments.power_table is not None:
        if arguments.format != "llrp":
            wrong, todo = "is of no use here", "Add --format llrp, or leave it out."
            raise InputError.one("--power-table", arguments.power_table, todo, wrong=wrong)
        source = arguments.power_table
        table = strategist.read_power_table(strategist.read_text(source), source)

    def answer(point: strategist.ReadPoint, strategy: strategist.Strategy, _: bool) -> Answered:
        with placed({"power table": "--power-table"}):
            settings = strategist.settings_of(point, strategy, arguments.format, table)
        return settings.to_json(), strategist.settings_text(settings), OK

    return each_strategy(arguments, answer)
