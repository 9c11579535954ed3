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


def test_the_plan_says_what_to_do_with_one_miss() -> None:
    """1 in 60 is there. 5 % takes 59, 93, 124, 153 passes with none to three failures (95 %
    confidence), and 153 at that rate have 2.6: at most three."""
    found = with_misses(60, 1, 0.05)
    assert "Survey 93 more passes" in found.reasons[0] and "153 in all" in found.reasons[0]
    assert "at most 3 of them have a miss" in found.reasons[0] and found.passes == 93


def test_more_passes_are_no_plan_above_the_limit_or_just_below() -> None:
    """3 of 20 passes miss: 15 % shows no limit of 10 %. 499 of 10,000 is too near 5 %."""
    above = with_misses(20, 3, 0.1)
    assert above.passes == 0
    assert "more passes cannot show it. Change the read point first" in above.reasons[0]
    assert "then survey 29 passes" in above.reasons[0]  # rule of 0.95: ln 0.05 / ln 0.9
    near = with_misses(10_000, 499, 0.05)
    assert near.passes == 0 and "agree on a higher limit" in near.reasons[0]
    shown = with_misses(59, 0, 0.05)
    assert shown.passes == 0 and "The 59 passes surveyed show the limit" in shown.reasons[0]


def with_misses(passes: int, missed: int, limit: float) -> NextSurvey:
    """So many passes of one wanted tag, of which some were never read."""
    reads: list[list[float | None]] = [[None]] * missed + [[-50.0]] * (passes - missed)
    survey = survey_of([20.0], [[("30", True, curve)] for curve in reads])
    point = ReadPoint(survey, Policy(limits=Limits(missed_rate_max=limit)))
    strategy = Strategy((20.0,))
    return next_survey(point, strategy, evaluate(survey, point.policy, strategy), None)


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
