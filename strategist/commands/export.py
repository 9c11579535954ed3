"""`export`: a strategy in the terms of open standards."""

from __future__ import annotations

import argparse

import strategist
from strategist.commands.arguments import (
    OK,
    Commands,
    add_case,
    add_command,
    give,
    given,
    placed,
)
from strategist.errors import InputError


def add(commands: Commands) -> None:
    what = "write a strategy in terms of open standards"
    command = add_command(commands, "export", _export, what)
    add_case(command, strategy=True)
    command.add_argument(
        "--as",
        dest="form",
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
        if arguments.form != "llrp":
            wrong, todo = "is of no use here", "Add --as llrp, or leave it out."
            raise InputError.one("--power-table", arguments.power_table, todo, wrong=wrong)
        source = arguments.power_table
        table = strategist.read_power_table(strategist.read_text(source), source)
    point, strategy = given(arguments)
    with placed({"power table": "--power-table"}):
        settings = strategist.settings_of(point, strategy, arguments.form, table)
    give(arguments.out, settings.to_json(), strategist.settings_text(settings))
    return OK
