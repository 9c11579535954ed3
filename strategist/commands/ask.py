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
    Commands,
    add_case,
    add_command,
    add_solving,
    each_point,
    give,
    given,
    number,
    placed,
    seconds,
    solving,
)
from strategist.commands.processes import all_processors


def add_question(commands: Commands, name: str) -> None:
    """The command of the question of this name."""
    question = next(one for one in strategist.QUESTIONS if one.name == name)
    command = add_command(commands, name, partial(_ask, question), question.what)
    add_case(command, strategy=question.takes_strategy)
    for parameter in question.parameters:
        _add_parameter(command, parameter)
    if question.solves == "time":
        _add_time(command)
    elif question.solves is not None:
        add_solving(command)


def _add_parameter(command: argparse.ArgumentParser, parameter: strategist.Parameter) -> None:
    more: dict[str, Any] = {"default": parameter.default}
    if parameter.is_map:
        more = {"type": _key, "action": "append", "default": []}
    elif parameter.fits is not None:
        more["type"] = number(parameter.allowed, parameter.fits)
    command.add_argument(
        parameter.option,
        dest=parameter.key,
        metavar=parameter.metavar,
        help=parameter.help,
        **more,
    )


def _add_time(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--time-limit",
        type=seconds,
        metavar="S",
        help="seconds for the whole answer at each read point (no limit)",
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


def _ask(question: strategist.Question, arguments: argparse.Namespace) -> int:
    if question.takes_strategy:
        point, strategy = given(arguments)
        found, text = _answer(question, arguments, point, last=True, strategy=strategy)
        give(arguments.out, found.to_json(), text)
        return OK if question.passed(found) else UNUSABLE
    with all_processors() if question.in_processes else nullcontext(map) as mapped:

        def answer(point: strategist.ReadPoint, last: bool) -> tuple[dict[str, Any], str]:
            mapped(abs, [0])  # workers load the library while this process does
            found, text = _answer(question, arguments, point, last=last, mapped=mapped)
            return found.to_json(), text

        return each_point(arguments, answer)


def _answer(
    question: strategist.Question,
    arguments: argparse.Namespace,
    point: strategist.ReadPoint,
    *,
    last: bool,
    **more: Any,
) -> tuple[Any, str]:
    """The answer to a question at a read point, and its words."""
    parameters = {one.key: _value(one, arguments, point) for one in question.parameters}
    asked = strategist.Asked(_options(question, arguments), parameters=parameters, **more)
    files = {"strategy": arguments.strategy} if question.takes_strategy else {}
    with placed(files | {one.key: one.option for one in question.parameters}):
        found = question.answer(point, asked)
    return found, question.words(found, point, last)


def _value(
    parameter: strategist.Parameter, arguments: argparse.Namespace, point: strategist.ReadPoint
) -> Any:
    value = getattr(arguments, parameter.key)
    if parameter.is_map:
        return dict(value)
    if parameter.names_case and value is not None:
        return strategist.read_case(value, point.name).read_points[0]
    return value


def _options(
    question: strategist.Question, arguments: argparse.Namespace
) -> strategist.Options | None:
    if question.solves is None:
        return None
    if question.solves == "time":
        return strategist.Options(total_limit_s=arguments.time_limit)
    return solving(arguments, unseen=question.solves == "all")
