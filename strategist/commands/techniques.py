"""`techniques`: what power, ladder, cutoff and masks buy, and what less work to install costs."""

from __future__ import annotations

import argparse
from typing import Any

import strategist
from strategist.commands.arguments import (
    Commands,
    add_case,
    add_command,
    add_solving,
    each_point,
    solving,
)

__all__ = ["add"]


def add(commands: Commands) -> None:
    what = "compare the best strategies with some techniques only, and with fewer masks"
    command = add_command(commands, "techniques", _techniques, what)
    add_case(command)
    add_solving(command)


def _techniques(arguments: argparse.Namespace) -> int:
    options = solving(arguments, unseen=False)

    def answer(point: strategist.ReadPoint, last: bool) -> tuple[dict[str, Any], str]:
        techniques = strategist.compare_techniques(point, options)
        return techniques.to_json(), strategist.techniques_text(techniques, caution=last)

    return each_point(arguments, answer)
