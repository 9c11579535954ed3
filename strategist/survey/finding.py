"""One thing to know about a survey, with its figure and a sentence of advice."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Literal

__all__ = ["Finding", "Found", "Severity", "Told", "findings"]

Severity = Literal["weak", "note"]
Told = tuple[Severity, str, str, str]  # severity, kind, text, advice
Found = Iterator[Told]


@dataclass(frozen=True)
class Finding:
    """One thing to know about a survey: `kind` is a short code, `text` gives the figure.

    `weak` means that an answer drawn from the survey may not hold; `note` that it may surprise.
    """

    read_point: str
    kind: str
    text: str
    advice: str
    severity: Severity

    def to_json(self) -> dict[str, Any]:
        return {
            "severity": self.severity,
            "kind": self.kind,
            "text": self.text,
            "advice": self.advice,
        }


def findings(read_point: str, found: Iterable[Iterable[Told]]) -> tuple[Finding, ...]:
    """What several checks found at a read point: those that make it weak first."""
    listed = [
        Finding(read_point, kind, text, advice, severity)
        for check in found
        for severity, kind, text, advice in check
    ]
    return tuple(sorted(listed, key=lambda finding: finding.severity != "weak"))
