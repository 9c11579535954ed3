"""`masks`: the fields that tags carry, and the masks that may be chosen."""

from __future__ import annotations

import argparse
from typing import Any

import strategist
from strategist.commands.arguments import Commands, add_case, add_command, each_point

__all__ = ["add"]


def add(commands: Commands) -> None:
    what = "list the fields of the tags and the masks that may be chosen"
    add_case(add_command(commands, "masks", _masks, what))


def _masks(arguments: argparse.Namespace) -> int:
    def answer(point: strategist.ReadPoint, _last: bool) -> tuple[dict[str, Any], str]:
        found = strategist.list_masks(point)
        return found.to_json(), strategist.masks_text(found)

    return each_point(arguments, answer)
