"""What `check` finds in a case that could be read, and how it says so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from strategist.errors import InputError
from strategist.radio.complete import complete
from strategist.radio.dwell import steps_by_masks
from strategist.radio.lawful import choosable_levels
from strategist.report.lines import paragraph, plain
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.case import Case
from strategist.survey.findings import Finding, Severity
from strategist.survey.order import figure
from strategist.survey.records import ReadPoint
from strategist.trust.diagnosis import diagnose

__all__ = ["Checked", "CheckedCase", "check", "check_text"]


@dataclass(frozen=True)
class Listed(Declared):
    """A finding with the name of its read point."""

    read_point: str
    kind: str
    text: str
    advice: str
    severity: Severity


@dataclass(frozen=True, eq=False)
class Checked(Declared):
    """What was surveyed at a read point, in counts, and what was found; `refusal` says why it
    cannot be solved, None if it can.

    `warnings` are those of reading it, and of what would be predicted or left out of it.
    """

    point: Hidden[ReadPoint]
    found: Hidden[tuple[Finding, ...]]
    error: Hidden[InputError | None]
    warnings: tuple[str, ...]

    @told()
    def read_point(self) -> str:
        return self.point.name

    @told()
    def passes(self) -> int:
        return len(self.point.survey.pass_ids)

    @told()
    def levels_dbm(self) -> list[float]:
        return [float(level) for level in self.point.survey.levels_dbm]

    @told()
    def wanted_presented(self) -> int:
        return int(self.point.survey.roster_wanted.sum())

    @told()
    def stray_presented(self) -> int:
        return len(self.point.survey.roster_wanted) - self.wanted_presented

    @told()
    def reads(self) -> int:
        return len(self.point.survey.read_pass)

    @told()
    def usable(self) -> bool:
        return self.error is None

    @told()
    def refusal(self) -> str | None:
        return None if self.error is None else str(self.error)

    @told()
    def findings(self) -> tuple[Listed, ...]:
        return tuple(Listed(f.read_point, f.kind, f.text, f.advice, f.severity) for f in self.found)

    @property
    def weak(self) -> bool:
        """Whether an answer drawn from the survey may not hold."""
        return any(finding.severity == "weak" for finding in self.found)


@dataclass(frozen=True)
class CheckedCase(Declared):
    """The findings on each read point of a case."""

    site: str
    read_points: tuple[Checked, ...]


def check(case: Case) -> CheckedCase:
    """What is wrong or weak at each read point of a case."""
    return CheckedCase(case.site, tuple(_checked(point) for point in case.read_points))


def check_text(checked: CheckedCase) -> str:
    """The findings by read point and a verdict in the last line, in lines of 80 columns."""
    lines = [plain(checked.site)] if checked.site else []
    for one in checked.read_points:
        lines += ["", *_heading(one.point), *_said(one)]
    return "\n".join([*lines, "", _verdict(checked.read_points)])


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
