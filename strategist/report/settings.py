"""A strategy in the words of an open standard: Gen2 Select commands or LLRP parameters."""

from __future__ import annotations

from typing import Any, Literal

from strategist.errors import InputError
from strategist.optimise.strategy import Strategy
from strategist.report.lines import paragraph
from strategist.survey.order import figure
from strategist.survey.records import ReadPoint
from strategist.tags.gen2 import gen2_document, gen2_lines
from strategist.tags.llrp import llrp_document, llrp_lines
from strategist.tags.power_table import PowerTable
from strategist.trust.steps import steps_of

__all__ = ["Form", "settings_document", "settings_text"]

Form = Literal["gen2", "llrp"]


def settings_document(
    read_point: ReadPoint, strategy: Strategy, form: Form, power_table: PowerTable | None = None
) -> dict[str, Any]:
    """The settings as plain JSON values; the key `format` says which standard.

    `levels` marks each step as lawful or not and surveyed, predicted or neither; `warnings` says
    what must be settled first. "llrp" needs the reader's own power table. Raises InputError without
    one, or where a level of the strategy is not in it.
    """
    steps = steps_of(read_point, strategy.levels_dbm)
    return _in_standard(read_point, strategy, form, power_table) | steps.to_json()


def _in_standard(
    read_point: ReadPoint, strategy: Strategy, form: Form, power_table: PowerTable | None
) -> dict[str, Any]:
    if form == "gen2":
        return gen2_document(
            strategy.masks, min((4 * len(tag.epc) for tag in read_point.survey.tags), default=None)
        )
    if power_table is None:
        allowed = (
            "the reader's own table of transmit powers (index,power_dbm), since LLRP sets a power "
            "by its place in that table"
        )
        raise InputError.one("power table", "", allowed)
    return llrp_document(
        strategy.levels_dbm,
        strategy.masks,
        power_table,
        stop_after=strategy.stop_after,
        cutoff_dbm=strategy.cutoff_dbm,
    )


def settings_text(document: dict[str, Any]) -> str:
    """The settings for a person, in lines of 80 columns: what must be settled first, on top."""
    said = gen2_lines(document) if document["format"] == "gen2" else llrp_lines(document)
    lines: list[str] = []
    if document["warnings"]:
        lines.append("Before anything is set")
        lines += [x for text in document["warnings"] for x in paragraph(f"- {text}", hanging=2)]
    lines.append("Levels")
    for level in document["levels"]:
        lines += paragraph(_level(level), 2, 2)
    lines += paragraph(document["lawful"]["reason"])
    lines.append("Settings")
    for line in said:
        text = line.lstrip()
        lines += paragraph(text, 2 + len(line) - len(text), 3)
    return "\n".join(lines)


def _level(level: dict[str, Any]) -> str:
    law = {True: "lawful", False: "UNLAWFUL", None: "law not known"}[level["lawful"]]
    known = level["known"]
    mark = known if known == "surveyed" else known.upper()
    return f"{figure(level['power_dbm'])} dBm: {law}, {mark}"
