"""`evaluate`: what a given strategy would do."""

from __future__ import annotations

import argparse

import strategist
from strategist.commands.arguments import OK, Commands, add_case, add_command, give, given

__all__ = ["add"]


def add(commands: Commands) -> None:
    command = add_command(commands, "evaluate", _evaluate, "say what a given strategy would do")
    add_case(command, strategy=True)


def _evaluate(arguments: argparse.Namespace) -> int:
    point, strategy = given(arguments)
    evaluation = strategist.evaluate_at(point, strategy)
    text = strategist.evaluation_text(evaluation, point.policy)
    give(arguments.out, evaluation.to_json(), text)
    return OK
