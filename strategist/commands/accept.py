"""`accept`: an acceptance run held against a limit; without a case, how many passes it needs."""

from __future__ import annotations

import argparse

import strategist
from strategist.commands.arguments import (
    OK,
    Commands,
    add_case,
    add_command,
    give,
    refuse_out,
    whole,
)
from strategist.commands.ask import add_parameters, ask, question_named
from strategist.errors import InputError

_OF_A_RUN = ("strategy", "sturdier", "read_points", "against")


def add(commands: Commands) -> None:
    question = question_named("accept")
    command = add_command(commands, "accept", _accept, question.what)
    add_case(command, strategy=True, needed=False)
    add_parameters(command, question)
    command.add_argument(
        "--allowed-failures",
        type=whole(0, 1000),
        default=None,
        metavar="N",
        help="without CASE: passes with a miss that the run may have (default: 0)",
    )


def _accept(arguments: argparse.Namespace) -> int:
    if arguments.case is None:
        return _plan(arguments)
    if arguments.strategy is None:
        raise InputError.one("--strategy", "", "the strategy installed, or the result it is from")
    if arguments.allowed_failures is not None:
        wrong = "is of no use with CASE: a run is judged by the misses that it has"
        found = str(arguments.allowed_failures)
        raise InputError.one("--allowed-failures", found, "Leave it out.", wrong=wrong)
    return ask(question_named("accept"), arguments)


def _plan(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    for key in _OF_A_RUN:
        if getattr(arguments, key):
            option = f"--{key.rstrip('s').replace('_', '-')}"
            todo = f"Give the folder of the survey of the run, or leave {option} out."
            raise InputError.one("CASE", "", todo)
    plan = strategist.plan_acceptance(
        arguments.miss_rate_max, arguments.confidence, arguments.allowed_failures or 0
    )
    give(arguments.out, plan.to_json(), strategist.plan_text(plan, "--allowed-failures"))
    return OK
