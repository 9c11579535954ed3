"""What to measure next, where the answer can be worked out."""

from __future__ import annotations

from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Limits, Policy
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import evaluate
from strategist.trust.intervals import clopper_pearson
from strategist.trust.next_survey import NextSurvey, next_survey
from tests.optimise.made import survey_of


def following(
    levels: list[float], strategy: Strategy, passes: int = 20, limit: float | None = None
) -> NextSurvey:
    survey = survey_of(levels, [[("30", True, [-50.0] * len(levels))] for _ in range(passes)])
    point = ReadPoint(survey, Policy(limits=Limits(missed_rate_max=limit)))
    return next_survey(point, strategy, evaluate(survey, point.policy, strategy), None)


def test_passes_to_show_a_limit_are_those_of_the_plan() -> None:
    """59 passes without a failure show 5 %; 20 are there."""
    found = following([20.0], Strategy((20.0,)), limit=0.05)
    assert found.passes == 39
    assert "limit of 5 %" in found.reasons[0]


def test_passes_without_a_limit_halve_the_interval() -> None:
    found = following([20.0], Strategy((20.0,)))
    assert found.half_width == clopper_pearson(0, 20).high / 2
    then = clopper_pearson(0, 20 + found.passes)
    assert found.half_width_then == then.high / 2 <= found.half_width / 2
    assert 20 <= found.passes <= 40


def test_levels_lie_half_way_beside_the_steps_and_beyond_an_end() -> None:
    levels = [18.0, 20.0, 22.0, 24.0]
    inside = following(levels, Strategy((20.0, 22.0)))
    assert inside.levels_dbm == (19.0, 21.0, 23.0)
    top = following(levels, Strategy((24.0,)))
    assert top.levels_dbm == (23.0, 26.0)
    assert any("lawful" in reason for reason in top.reasons)
    bottom = following(levels, Strategy((18.0,)))
    assert bottom.levels_dbm == (16.0, 19.0)


def test_with_two_levels_both_ends_are_gone_beyond_and_with_one_only_the_top() -> None:
    assert following([20.0, 22.0], Strategy((20.0,))).levels_dbm == (18.0, 21.0)
    assert following([20.0, 22.0], Strategy((22.0,))).levels_dbm == (21.0, 24.0)
    assert following([20.0], Strategy((20.0,))).levels_dbm == (21.0,)


def test_fine_levels_get_none_between_and_none_beyond_what_a_reader_may_send() -> None:
    assert following([20.0, 20.5, 21.0], Strategy((20.5,))).levels_dbm == ()
    assert following([39.5, 40.0], Strategy((40.0,))).levels_dbm == ()
