"""A tag that hears Select commands, simulated from the table of their actions."""

from __future__ import annotations

from collections.abc import Sequence

from strategist.survey.records import Tag
from strategist.tags.gen2 import ACTIONS, Select
from strategist.tags.mask import EPC_START, Bank


def replay(commands: Sequence[Select], tag: Tag, sl_before: bool) -> bool:
    """Whether a tag answers the Query after these commands, its SL flag being `sl_before` at first.

    The Query asks for SL where there are commands and for all tags where there are none. The tag
    has the memory that was recorded of it: what lies beyond, the CRC and PC words included, does
    not match.
    """
    if not commands:
        return True
    memory = _memory(tag)
    flag = sl_before
    for command in commands:
        held = memory[command.bank][command.pointer : command.pointer + len(command.mask)]
        # A slice beyond the end is shorter than the mask; "?" is a bit that was not recorded.
        does = ACTIONS[command.action][0 if held == command.mask else 1]
        flag = {"set": True, "clear": False, "turn": not flag, "leave": flag}[does]
    return flag


def _memory(tag: Tag) -> dict[Bank, str]:
    def bits(data: str | None) -> str:
        return "".join(f"{int(digit, 16):04b}" for digit in data or "")

    return {"epc": "?" * EPC_START + bits(tag.epc), "tid": bits(tag.tid), "user": bits(tag.user)}
