"""`masks`: the fields that tags carry, and the masks that may be chosen."""

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
    give,
    one_of,
    refuse_out,
)

__all__ = ["add"]


def add(commands: Commands) -> None:
    what = "list the fields of the tags and the masks that may be chosen"
    command = add_command(commands, "masks", _masks, what)
    add_case(command)
    add_read_point(command)
    add_out(command)


def _masks(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    case = strategist.read_case(arguments.case, arguments.read_point)
    points = case.read_points
    if arguments.out is not None and len(points) > 1:
        raise one_of(case, "one read point for --out")
    for number, point in enumerate(points, 1):
        found = strategist.list_masks(point)
        text = strategist.masks_text(found)
        give(arguments.out, found.to_json(), text + ("" if number == len(points) else "\n"))
    return OK
