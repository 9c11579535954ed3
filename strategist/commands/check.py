"""`check`: what is wrong or weak in a case."""

from __future__ import annotations

import argparse

import strategist
from strategist.commands.arguments import (
    OK,
    UNUSABLE,
    Commands,
    add_case,
    add_command,
    case_of,
    give,
    refuse_out,
    say,
)
from strategist.commands.waiting import waiting_for
from strategist.errors import InputError


def add(commands: Commands) -> None:
    command = add_command(commands, "check", _check, "say what is wrong or weak in a case")
    add_case(command)


def _check(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    try:
        case = case_of(arguments)
    except InputError as error:
        faults = f"{error.count} fault{'' if error.count == 1 else 's'}"
        return say(f"{error}\nUnusable: {faults}, listed above.", UNUSABLE)
    with waiting_for(arguments.case):
        checked = strategist.check(case)
    give(arguments.out, checked.to_json(), strategist.check_text(checked))
    return OK if all(one.usable for one in checked.read_points) else UNUSABLE
