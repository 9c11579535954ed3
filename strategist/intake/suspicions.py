"""What is suspicious in raw files that could be read: each with counts and a remedy."""

from __future__ import annotations

from collections.abc import Iterator

from strategist.intake.clock import Offset
from strategist.intake.imported import Suspicion
from strategist.intake.mapping import ImportMapping
from strategist.survey.case import Case
from strategist.survey.soundness import soundness


def suspicions(case: Case, offset: Offset | None, mapping: ImportMapping) -> tuple[Suspicion, ...]:
    """All that is suspicious, what makes an answer doubtful first."""
    listed = [*_shifts(case), *_clocks(offset, mapping)]
    return tuple(sorted(listed, key=lambda one: one.severity != "weak"))


def _shifts(case: Case) -> Iterator[Suspicion]:
    for point in case:
        for severity, kind, text, advice in soundness(point.survey):
            if kind == "passes_shifted":
                yield Suspicion(point.name, kind, text, advice, severity)


def _clocks(offset: Offset | None, mapping: ImportMapping) -> Iterator[Suspicion]:
    if offset is not None:
        advice = (
            'Compare the two clocks; if they differ so, say "clock_offset_s": '
            f"{mapping.clock_offset_s + offset.seconds:g} in the mapping file."
        )
        yield Suspicion(None, "clocks_differ", offset.text(), advice, "weak")
