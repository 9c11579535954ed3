"""`evaluate`: what a given strategy would do."""

from __future__ import annotations

import argparse

import strategist
from strategist.commands.arguments import (
    OK,
    Commands,
    add_case,
    add_command,
    add_out,
    add_read_point,
    add_strategy,
    give,
    given,
    refuse_out,
)

__all__ = ["add"]


def add(commands: Commands) -> None:
    command = add_command(commands, "evaluate", _evaluate, "say what a given strategy would do")
    add_case(command)
    add_strategy(command)
    add_read_point(command)
    add_out(command)


def _evaluate(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    point, strategy = given(arguments)
    evaluation = strategist.evaluate_at(point, strategy)
    text = strategist.evaluation_text(evaluation, point.policy)
    give(arguments.out, evaluation.to_json(), text)
    return OK
