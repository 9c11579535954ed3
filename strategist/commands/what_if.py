"""`what-if`: the answer again with other keys of the policy or another cable, and what changed."""

from __future__ import annotations

import argparse
import json
from typing import Any

import strategist
from strategist.commands.arguments import (
    Commands,
    add_case,
    add_command,
    add_solving,
    each_point,
    number,
    solving,
)

__all__ = ["add"]

_decibels = number("a number of dB", lambda found: abs(found) <= 60)


def add(commands: Commands) -> None:
    what = "solve again with something changed, and say what that changes; without --set and "
    what += "--cable-db: what planners ask most, one after the other"
    command = add_command(commands, "what-if", _what_if, what)
    add_case(command)
    command.add_argument(
        "--set",
        dest="sets",
        type=_key,
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="a key of the read point in site.json, as reader.mask_slots=4; may be repeated",
    )
    command.add_argument(
        "--cable-db",
        type=_decibels,
        default=0.0,
        metavar="DB",
        help="how much more the cable loses (-2: 2 dB less)",
    )
    add_solving(command)


def _key(text: str) -> tuple[str, Any]:
    """A key with its value: JSON where it is some, else text."""
    key, equals, given = text.partition("=")
    if not (key and equals):
        raise argparse.ArgumentTypeError(f'found "{text}"; allowed: KEY=VALUE')
    try:
        return key, json.loads(given)
    except ValueError:
        return key, given


def _what_if(arguments: argparse.Namespace) -> int:
    options = solving(arguments, unseen=False)
    sets, cable = dict(arguments.sets), arguments.cable_db

    def answer(point: strategist.ReadPoint, last: bool) -> tuple[dict[str, Any], str]:
        if sets or cable:
            found = strategist.what_if(point, sets, cable_db=cable, options=options)
            return found.to_json(), strategist.what_if_text(found, caution=last)
        questions = strategist.usual_what_ifs(point, options)
        return questions.to_json(), strategist.what_ifs_text(questions, caution=last)

    return each_point(arguments, answer)
