"""Rates in words: strays a pass with an interval that is rounded outward."""

from __future__ import annotations

import pytest

from strategist.report.standing import standing_lines
from strategist.survey.policy import Policy
from strategist.survey.records import Survey
from strategist.trust.evaluate import evaluate
from strategist.trust.evaluation import standing_of
from tests.bench.intervals import SET
from tests.optimise.made import survey_of


def words(survey: Survey) -> str:
    outcome = evaluate(survey, Policy(), SET)
    return " ".join(" ".join(standing_lines(standing_of(survey, Policy(), SET, outcome))).split())


@pytest.mark.parametrize(
    ("reported", "said"), [(0, "0 strays a pass (0 to 0.62)"), (4, "0.40 strays a pass (0.12 to ")]
)
def test_strays_a_pass_are_told_with_their_interval(reported: int, said: str) -> None:
    """None of ten passes, each with two strays: twice 30.85 %. Clopper and Pearson's lower end of
    4 in 10 is 12.2 %, of one stray in each of ten passes."""
    read = [[-60.0 if p < reported else None] for p in range(10)]
    each = 2 if reported == 0 else 1
    survey = survey_of(
        [24.0], [[(f"35{p:02X}{t}0", False, read[p]) for t in range(each)] for p in range(10)]
    )
    assert said in words(survey)
