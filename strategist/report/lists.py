"""Masks and settings in words, in lines of 80 columns."""

from __future__ import annotations

from strategist.answers.masks import MaskList, Presented
from strategist.answers.settings import Settings
from strategist.report.lines import heading, labelled, paragraph, plain
from strategist.survey.order import figure
from strategist.tags.gen2 import gen2_lines
from strategist.tags.llrp import llrp_lines
from strategist.tags.mask import mask_text
from strategist.trust.steps import Step

_WORDS_MAX = 48  # characters of an example in the text; the document has all of it


def masks_text(found: MaskList) -> str:
    """The list for a person, in lines of 80 columns."""
    lines = paragraph(f"{plain(found.read_point)}: {_counted(found.presented)} presentations", 0, 2)
    lines.append("Fields, by bank and pointer")
    for field in found.fields:
        values = "1 value" if field.values == 1 else f"{field.values} values"
        kind = "structural" if field.structural else "not structural"
        text = f"{field.name} at {field.pointer}, length {field.length}, {kind}: {values}"
        lines += labelled(field.bank.upper(), f"{text} on {_counted(field.on)}")
        examples = [_short(words) for words in field.examples]
        more = ["…"] if field.values > len(examples) else []
        lines += paragraph(f"{', '.join(examples + more)}", 14, 2)
    lines.append(f"Candidates: {found.listed} before merging, {len(found.candidates)} after")
    for number, one in enumerate(found.candidates, 1):
        lines += labelled(f"{number}.", f"{mask_text(one.mask)}: {_counted(one.selects)}")
        lines += paragraph(one.words, 14, 2)
    if found.left_out:
        lines.append("Left out, with the number of masks")
        for left in found.left_out:
            lines += labelled(f"{left.masks}", left.reason)
            if left.examples:
                lines += paragraph(f"such as {left.examples[0]}", 14, 2)
    if found.warnings:
        lines.append("Warnings")
        lines += [line for text in found.warnings for line in paragraph(f"- {text}", hanging=2)]
    return "\n".join(lines)


def _counted(on: Presented) -> str:
    return f"{on.tags} tag{'' if on.tags == 1 else 's'}, {on.wanted} wanted + {on.stray} stray"


def _short(words: str) -> str:
    return words if len(words) <= _WORDS_MAX else f"{words[: _WORDS_MAX - 1]}…"


def settings_text(settings: Settings) -> str:
    """The settings for a person, in lines of 80 columns: what must be settled first, on top."""
    lines_of = gen2_lines if settings.format == "gen2" else llrp_lines
    said = lines_of(settings.standard)
    standard = {"gen2": "Gen2 Select commands", "llrp": "LLRP parameters"}[settings.format]
    lines = heading(settings.read_point, f"settings as {standard}")
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
    law = {True: "lawful", False: "UNLAWFUL", None: "lawful limit unknown"}[level.lawful]
    known = level.known
    mark = known if known == "surveyed" else known.replace("_", " ").upper()
    return f"{figure(level.power_dbm)} dBm: {law}, {mark}"
