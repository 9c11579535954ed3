"""The commands that ask something of read points: one for each row of the questions."""

from __future__ import annotations

import argparse
import json
from contextlib import nullcontext
from functools import partial
from typing import Any

import strategist
from strategist.commands.arguments import (
    OK,
    UNUSABLE,
    Answered,
    Commands,
    add_case,
    add_command,
    add_detail,
    add_solving,
    case_of,
    each_point,
    each_strategy,
    number,
    placed,
    refuse_out,
    solving,
)
from strategist.commands.processes import all_processors


def question_named(name: str) -> strategist.Question:
    return next(one for one in strategist.QUESTIONS if one.name == name)


def add_question(commands: Commands, name: str) -> None:
    """The command of the question of this name."""
    question = question_named(name)
    command = add_command(commands, name, partial(ask, question), question.what)
    add_case(command, strategy=question.takes_strategy)
    add_parameters(command, question)
    if question.detailed:
        add_detail(command)
    if question.solves is not None:
        add_solving(command)


def add_parameters(command: argparse.ArgumentParser, question: strategist.Question) -> None:
    for parameter in question.parameters:
        more: dict[str, Any] = {"default": parameter.default}
        if parameter.is_map:
            more = {"type": _key, "action": "append", "default": []}
        elif parameter.choices:
            more |= {"choices": parameter.choices}
        elif parameter.fits is not None:
            more["type"] = number(parameter.allowed, parameter.fits)
        command.add_argument(
            parameter.option,
            dest=parameter.key,
            metavar=None if parameter.choices else parameter.metavar,
            help=parameter.help,
            **more,
        )


def _key(text: str) -> tuple[str, Any]:
    """A key with its value: JSON where it is some, else text."""
    key, equals, value = text.partition("=")
    if not (key and equals):
        raise argparse.ArgumentTypeError(f'"{text}" is not valid. Give KEY=VALUE.')
    try:
        return key, json.loads(value)
    except ValueError:
        return key, value


def ask(question: strategist.Question, arguments: argparse.Namespace) -> int:
    """Ask it at each read point; returns the exit status."""
    if question.takes_strategy:
        return each_strategy(
            arguments,
            lambda point, strategy, last: answered(
                question, arguments, point, last=last, strategy=strategy
            ),
        )
    refuse_out(arguments.out)
    case = case_of(arguments)
    with all_processors() if question.in_processes else nullcontext(map) as mapped:

        def answer(point: strategist.ReadPoint, last: bool) -> Answered:
            return answered(question, arguments, point, last=last, mapped=mapped)

        return each_point(arguments, case, answer)


def answered(
    question: strategist.Question,
    arguments: argparse.Namespace,
    point: strategist.ReadPoint,
    *,
    last: bool,
    **more: Any,
) -> Answered:
    """The answer to a question at a read point, its words, and whether it is a good one."""
    parameters = {one.key: _value(one, arguments, point) for one in question.parameters}
    options = (
        None if question.solves is None else solving(arguments, unseen=question.solves == "all")
    )
    asked = strategist.Asked(options, parameters=parameters, **more)
    files = {"strategy": arguments.strategy} if question.takes_strategy else {}
    with placed(files | {one.key: one.option for one in question.parameters}):
        found = question.answer(point, asked)
    shown = strategist.Shown(last, question.detailed and arguments.detail)
    status = OK if question.holds(found) else UNUSABLE
    return found.to_json(), question.words(found, point, shown), status


def _value(
    parameter: strategist.Parameter, arguments: argparse.Namespace, point: strategist.ReadPoint
) -> Any:
    value = getattr(arguments, parameter.key)
    if parameter.is_map:
        return dict(value)
    if parameter.names_case and value is not None:
        with placed({"read point": parameter.option}):
            return strategist.read_case(value, point.name).read_points[0]
    return value
