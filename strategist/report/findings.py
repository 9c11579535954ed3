"""Findings in words, in lines of 80 columns."""

from __future__ import annotations

from collections.abc import Sequence

from strategist.answers.check import Checked, CheckedCase
from strategist.report.lines import paragraph, plain
from strategist.survey.order import figure


def check_text(checked: CheckedCase) -> str:
    """The findings by read point and a verdict in the last line, in lines of 80 columns."""
    lines = [plain(checked.site)] if checked.site else []
    for one in checked.read_points:
        lines += ["", *_heading(one), *_said(one)]
    return "\n".join([*lines, "", _verdict(checked.read_points)])


def _heading(one: Checked) -> list[str]:
    levels = [figure(level) for level in one.levels_dbm]
    span = f"{levels[0]} to {levels[-1]} dBm" if len(levels) > 1 else f"{levels[0]} dBm"
    text = (
        f"{plain(one.read_point)}: passes {one.passes}; levels {len(levels)} ({span}); "
        f"tags presented {one.wanted_presented} wanted, {one.stray_presented} stray; "
        f"reads {one.reads}"
    )
    return paragraph(text, 0, 2)


def _said(one: Checked) -> list[str]:
    said = [("unusable", str(one.refusal), "")] if one.refusal is not None else []
    said += [(f.severity, f.text, f.advice) for f in one.findings]
    said += [("note", warning, "") for warning in one.warnings]
    lines = []
    for mark, text, advice in said:
        lines += paragraph(f"{mark}: {text}", hanging=2)
        if advice:
            lines += paragraph(f"-> {advice}", 4, 3)
    if not one.weak and one.refusal is None:
        lines = ["  nothing weak found", *lines]
    return lines


def _verdict(checked: Sequence[Checked]) -> str:
    refused = sum(one.refusal is not None for one in checked)
    weak = sum(one.weak for one in checked)
    points = f"{len(checked)} read point{'' if len(checked) == 1 else 's'}"
    if refused:
        return f"Unusable: {refused} of {points} cannot be solved as the case stands."
    if weak:
        return f"Usable, with weak points: {weak} of {points}."
    return f"Usable: {points}, nothing weak found."
