"""A strategy in the words of an open standard: Gen2 Select commands or LLRP parameters."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

from strategist.errors import InputError
from strategist.optimise.strategy import Strategy
from strategist.radio.lawful import Lawful
from strategist.report.lines import paragraph
from strategist.survey.answer import Declared, Hidden
from strategist.survey.order import figure
from strategist.survey.records import ReadPoint
from strategist.tags.gen2 import gen2_document, gen2_lines
from strategist.tags.llrp import llrp_document, llrp_lines, whole_cutoffs
from strategist.tags.power_table import PowerTable
from strategist.tags.read_back import chain_of_frames, of_llrp_step
from strategist.trust.replayed import Replayed, replayed
from strategist.trust.steps import Step, steps_of

__all__ = ["Form", "Settings", "settings_of", "settings_text"]

Form = Literal["gen2", "llrp"]


@dataclass(frozen=True)
class Settings(Declared):
    """A strategy in a standard, whose own keys come first in the JSON.

    `levels` marks each step as lawful or not and surveyed, predicted or neither; `replay` is what
    the settings do in the survey, read back from their bits; `warnings` say what must be settled
    first, with the difference where that is not what the strategy does.
    """

    format: Form
    standard: Hidden[dict[str, Any]]
    levels: tuple[Step, ...]
    lawful: Lawful
    warnings: tuple[str, ...]
    replay: Replayed

    def to_json(self) -> dict[str, Any]:
        return self.standard | super().to_json()


def settings_of(
    read_point: ReadPoint, strategy: Strategy, form: Form, power_table: PowerTable | None = None
) -> Settings:
    """The settings, replayed. "llrp" needs the reader's
    own power table. Raises InputError without one, or where a level of the strategy is not in it.
    """
    steps = steps_of(read_point, strategy.levels_dbm)
    document, again = _in_standard(read_point, strategy, form, power_table)
    warnings = [*again.warnings, *steps.warnings]
    if not again.same:
        warnings.insert(0, f"{again.sentence}{_advice(again)}")
    return Settings(form, document, steps.levels, steps.lawful, tuple(warnings), again)


def _advice(again: Replayed) -> str:
    if again.same is None or again.strategy.cutoff_dbm == again.meant.cutoff_dbm:
        return ""
    return (
        " Set reader.rssi_step_db to 1 in site.json and solve again: cutoffs are then whole "
        "numbers of dBm, and proven so."
    )


def _in_standard(
    read_point: ReadPoint, strategy: Strategy, form: Form, power_table: PowerTable | None
) -> tuple[dict[str, Any], Replayed]:
    if form == "gen2":
        shortest = min((4 * len(tag.epc) for tag in read_point.survey.tags), default=None)
        document = gen2_document(strategy.masks, shortest)
        chain = chain_of_frames([one["frame"] for one in document["commands"]])
        return document, replayed(read_point, strategy, replace(strategy, masks=chain))
    if power_table is None:
        allowed = (
            "the reader's own table of transmit powers (index,power_dbm), since LLRP sets a power "
            "by its place in that table"
        )
        raise InputError.one("power table", "", allowed)
    cutoff = strategy.cutoff_dbm
    written = [
        _in_llrp(read_point, strategy, power_table, whole)
        for whole in ((None,) if cutoff is None else whole_cutoffs(cutoff))
    ]
    return min(written, key=lambda one: _worse(one[1]))  # the first of those that are as good


def _in_llrp(
    read_point: ReadPoint, strategy: Strategy, table: PowerTable, keep_from_dbm: int | None
) -> tuple[dict[str, Any], Replayed]:
    document = llrp_document(
        strategy.levels_dbm,
        strategy.masks,
        table,
        stop_after=strategy.stop_after,
        keep_from_dbm=keep_from_dbm,
    )
    steps = [of_llrp_step(step["bytes"]) for step in document["steps"]]
    written = Strategy(
        tuple(map(table.same_level, (index for index, _ in steps), strategy.levels_dbm)),
        document["stop_after"],
        document["keep_from_dbm"],
        steps[0][1],
    )
    return document, replayed(read_point, strategy, written)


def _worse(again: Replayed) -> tuple[bool, float]:
    """What written settings are chosen by: the same as the strategy, then the least loss."""
    return not again.same, 0.0 if again.outcome is None else again.outcome.loss


def settings_text(settings: Settings) -> str:
    """The settings for a person, in lines of 80 columns: what must be settled first, on top."""
    lines_of = gen2_lines if settings.format == "gen2" else llrp_lines
    said = lines_of(settings.standard)
    lines: list[str] = []
    if settings.warnings:
        lines.append("Before anything is set")
        lines += [x for text in settings.warnings for x in paragraph(f"- {text}", hanging=2)]
    lines.append("Levels")
    for level in settings.levels:
        lines += paragraph(_level(level), 2, 2)
    lines += paragraph(settings.lawful.reason)
    if settings.replay.same:
        lines += ["Replay", *paragraph(settings.replay.sentence)]
    lines.append("Settings")
    for line in said:
        text = line.lstrip()
        lines += paragraph(text, 2 + len(line) - len(text), 3)
    return "\n".join(lines)


def _level(level: Step) -> str:
    law = {True: "lawful", False: "UNLAWFUL", None: "law not known"}[level.lawful]
    known = level.known
    mark = known if known == "surveyed" else known.upper()
    return f"{figure(level.power_dbm)} dBm: {law}, {mark}"
