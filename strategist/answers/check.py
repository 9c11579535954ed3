"""What `check` finds in a case that could be read, and how it says so."""

from __future__ import annotations

from dataclasses import dataclass, replace

from strategist.errors import InputError
from strategist.radio.complete import complete
from strategist.radio.dwell import steps_by_masks, turns_of
from strategist.radio.lawful import choosable_levels, mildest_radio
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.case import Case
from strategist.survey.findings import Finding, Severity
from strategist.survey.policy import Technique
from strategist.survey.records import ReadPoint
from strategist.trust.diagnosis import diagnose


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
    def untried(self) -> int:
        """Pairs of pass and level that were not tried."""
        return int((~self.point.survey.tried).sum())

    @told()
    def usable(self) -> bool:
        return self.error is None

    @told()
    def allow(self) -> tuple[Technique, ...]:
        """Techniques that the policy allows."""
        return self.point.policy.allow

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


def _checked(read_point: ReadPoint) -> Checked:
    """The findings, and why nothing can be chosen: untried pairs, no lawful level, no step that
    fits the dwell."""
    found = diagnose(read_point)
    try:
        whole = complete(read_point)
        time = whole.policy.time
        choosable_levels(whole.survey, replace(whole.policy, radio=mildest_radio(whole.policy)))
        fewest = 1 if "antennas" in whole.policy.allow else turns_of(whole.survey, time, None)
        steps_by_masks(whole.survey, time.listening(time.steps_s[0]), (), 0, 1, turns=fewest)
        return Checked(read_point, found, None, whole.warnings)
    except InputError as error:
        return Checked(read_point, found, error, read_point.warnings)
