"""What `check` finds in a case that could be read, and how it says so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from strategist.errors import InputError
from strategist.radio.complete import complete
from strategist.radio.dwell import steps_by_masks
from strategist.radio.lawful import choosable_levels
from strategist.report.lines import paragraph, plain
from strategist.survey.case import Case
from strategist.survey.findings import Finding
from strategist.survey.order import figure
from strategist.survey.records import ReadPoint
from strategist.trust.diagnosis import diagnose

__all__ = ["Checked", "check", "check_document", "check_text"]


@dataclass(frozen=True, eq=False)
class Checked:
    """A read point with its findings; `refusal` says why it cannot be solved, None if it can.

    `warnings` are those of reading it, and of what would be predicted or left out of it.
    """

    read_point: ReadPoint
    findings: tuple[Finding, ...]
    refusal: InputError | None
    warnings: tuple[str, ...]

    @property
    def weak(self) -> bool:
        """Whether an answer drawn from the survey may not hold."""
        return any(finding.severity == "weak" for finding in self.findings)

    def to_json(self) -> dict[str, Any]:
        """What was surveyed, in counts, and what was found."""
        survey = self.read_point.survey
        wanted = int(survey.roster_wanted.sum())
        return {
            "read_point": self.read_point.name,
            "passes": len(survey.pass_ids),
            "levels_dbm": survey.levels_dbm.tolist(),
            "wanted_presented": wanted,
            "stray_presented": len(survey.roster_wanted) - wanted,
            "reads": len(survey.read_pass),
            "usable": self.refusal is None,
            "refusal": None if self.refusal is None else str(self.refusal),
            "findings": [asdict(finding) for finding in self.findings],
            "warnings": list(self.warnings),
        }


def check(case: Case) -> tuple[Checked, ...]:
    """The findings on each read point of a case."""
    return tuple(_checked(point) for point in case.read_points)


def check_document(case: Case, checked: Sequence[Checked]) -> dict[str, Any]:
    """The findings by read point as plain JSON values."""
    return {"site": case.site, "read_points": [one.to_json() for one in checked]}


def check_text(case: Case, checked: Sequence[Checked]) -> str:
    """The findings by read point and a verdict in the last line, in lines of 80 columns."""
    lines = [plain(case.site)] if case.site else []
    for one in checked:
        lines += ["", *_heading(one.read_point), *_said(one)]
    return "\n".join([*lines, "", _verdict(checked)])


def _checked(read_point: ReadPoint) -> Checked:
    """The findings, and why nothing can be chosen: untried pairs, no lawful level, no step that
    fits the dwell."""
    found = diagnose(read_point)
    try:
        whole = complete(read_point)
        choosable_levels(whole.survey, whole.policy)
        steps_by_masks(whole.survey, whole.policy.time, (), 0, 1)
        return Checked(read_point, found, None, whole.warnings)
    except InputError as error:
        return Checked(read_point, found, error, read_point.warnings)


def _heading(read_point: ReadPoint) -> list[str]:
    survey = read_point.survey
    levels = [figure(level) for level in survey.levels_dbm]
    span = f"{levels[0]} to {levels[-1]} dBm" if len(levels) > 1 else f"{levels[0]} dBm"
    wanted = int(survey.roster_wanted.sum())
    text = (
        f"{plain(read_point.name)}: passes {len(survey.pass_ids)}; levels {len(levels)} ({span}); "
        f"tags presented {wanted} wanted, {len(survey.roster_wanted) - wanted} stray; "
        f"reads {len(survey.read_pass)}"
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
