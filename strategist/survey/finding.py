"""One thing to know about a survey, with its figure and a sentence of advice."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from strategist.survey.answer import Declared, Hidden

__all__ = ["Finding", "Found", "Severity", "findings"]

Severity = Literal["weak", "note"]
Found = Iterator[tuple[Severity, str, str, str]]  # severity, kind, text, advice


@dataclass(frozen=True)
class Finding(Declared):
    """One thing to know about a survey: `kind` is a short code, `text` gives the figure.

    `weak` means that an answer drawn from the survey may not hold; `note` that it may surprise.
    """

    read_point: Hidden[str]
    severity: Severity
    kind: str
    text: str
    advice: str


def findings(read_point: str, found: Iterable[Found]) -> tuple[Finding, ...]:
    """What several checks found at a read point: those that make it weak first."""
    listed = [
        Finding(read_point, severity, kind, text, advice)
        for check in found
        for severity, kind, text, advice in check
    ]
    return tuple(sorted(listed, key=lambda finding: finding.severity != "weak"))
