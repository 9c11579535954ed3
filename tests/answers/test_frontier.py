"""The frontier as it is given out: marks, ratios, limits, and the evaluator's check."""

from __future__ import annotations

import dataclasses
import importlib
import re
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from strategist.answers.assessment import choose
from strategist.answers.frontier import Frontier, RatioRange, _ratios, trace_frontier
from strategist.answers.over import passes_over
from strategist.answers.per_pass import per_pass_of
from strategist.answers.solution import Options
from strategist.errors import DisagreementError
from strategist.optimise.tuning import Tuning
from strategist.report.trade_offs import frontier_text
from strategist.survey.policy import Guard, InConditions, Limits, Loss, Reader
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.guarded import guarded_outcome
from tests.optimise.made import random_read_point, survey_of
from tests.recorded.points import in_conditions, small
from tests.surveyed import surveyed_policy

WANTED, STRAY = True, False


def by_cutoff(tags: list[tuple[bool, float]], **policy: Any) -> ReadPoint:
    """One pass at one level: tags by role and RSSI; nothing but a cutoff to choose."""
    entries: list[tuple[str, bool, list[float | None]]] = [
        (f"AB{number:02X}", wanted, [rssi]) for number, (wanted, rssi) in enumerate(tags)
    ]
    survey = survey_of([20.0], [entries])
    return ReadPoint(survey, surveyed_policy(allow=("cutoff",), guard=Guard(0.0, 0.0), **policy))


# From the weakest: three strays, a wanted tag, a stray, three wanted tags, four strays, a wanted
# tag. No cutoff: (0, 8). Each further one gives up the wanted tags below it.
MADE = [
    *[(STRAY, -70.0)] * 3,
    (WANTED, -66.0),
    (STRAY, -62.0),
    *[(WANTED, -58.0)] * 3,
    *[(STRAY, -54.0)] * 4,
    (WANTED, -50.0),
]


def test_worked_by_hand() -> None:
    """Cutoffs give (0, 8), (0, 5), (1, 5), (1, 4), (4, 4), (4, 0): three are not dominated.

    From (0, 5) to (4, 0) a miss may weigh 5/4 strays; (1, 4) has the loss 5.25 there, above 5.
    """
    frontier = trace_frontier(by_cutoff(MADE, loss=Loss(2, 1)))
    points = frontier.points
    assert frontier.status == "complete" and frontier.open == ()
    assert [(p.outcome.missed, p.outcome.stray) for p in points] == [(0, 5), (1, 4), (4, 0)]
    assert [p.strategy.cutoff_dbm for p in points] == [-68.0, -60.0, -52.0]
    assert [p.best_for for p in points] == [RatioRange(1.25, None), None, RatioRange(0.0, 1.25)]
    assert [p.loss for p in points] == [5.0, 6.0, 8.0]
    assert [p.chosen for p in points] == [True, False, False]
    assert all(p.proven for p in points)


def test_limits_cut_the_frontier_off() -> None:
    limited = trace_frontier(by_cutoff(MADE, limits=Limits(missed_rate_max=0.5)))
    assert [p.outcome.missed for p in limited.points] == [0, 1]
    assert [p.best_for for p in limited.points] == [RatioRange(1.0, None), RatioRange(0.0, 1.0)]
    limited = trace_frontier(by_cutoff(MADE, limits=Limits(stray_rate_max=4.0)))
    assert [p.outcome.stray for p in limited.points] == [4, 0]
    none = trace_frontier(by_cutoff(MADE, limits=Limits(missed_rate_max=0.5, stray_rate_max=3.9)))
    assert (none.status, none.points, none.open) == ("infeasible", (), ())


@pytest.mark.parametrize("seed", [3, 11, 113, 118])
def test_the_chosen_point_is_what_choose_finds(seed: int) -> None:
    point = random_read_point(seed, 1)
    result, frontier = choose(point, Options(unseen=False)), trace_frontier(point)
    if result.status == "infeasible":
        assert frontier.status == "infeasible"
        return
    (chosen,) = [one for one in frontier.points if one.chosen]
    assert chosen.loss == result.loss == min(one.loss for one in frontier.points)
    for one in frontier.points:
        outcome = evaluate(point.survey, point.policy, one.strategy)
        assert (outcome.missed, outcome.stray) == (one.outcome.missed, one.outcome.stray)
        assert outcome.loss == pytest.approx(one.loss, abs=1e-6)
        guarded, weights = (
            guarded_outcome(point.survey, point.policy, one.strategy),
            frontier.weights,
        )
        assert (one.guarded_missed, one.guarded_stray) == (guarded.missed, guarded.stray)
        by_weights = weights.missed * one.guarded_missed + weights.stray * one.guarded_stray
        assert one.guarded_loss == pytest.approx(by_weights, abs=1e-6)


def test_out_of_time_says_what_is_open() -> None:
    point = random_read_point(118, 1)
    stopped = trace_frontier(point, Options(time_limit_s=1e-9))
    assert stopped.status in ("partial", "undecided") and stopped.open
    document = stopped.to_json()
    assert document["open"][0].keys() == {"missed", "stray"}
    assert any(not one["proven"] for one in document["points"]) or not document["points"]


def counts(frontier: Frontier) -> list[tuple[int, int]]:
    return [(point.outcome.missed, point.outcome.stray) for point in frontier.points]


def within(frontier: Frontier, other: Frontier) -> bool:
    """Whether each point of the other one is reached, or bettered."""
    return all(
        any(missed <= m and stray <= s for missed, stray in counts(frontier))
        for m, s in counts(other)
    )


def test_chains_that_are_too_many_to_list() -> None:
    """Shorter ones are searched: no point of theirs is lacking, longer chains may better some, and
    it is said up to where the frontier is proven."""
    point = random_read_point(413, 2)
    reader = Reader(ladder_steps_max=2, mask_slots=3)
    policy = surveyed_policy(loss=point.policy.loss, reader=reader, serial_masks=True)
    point = replace(point, policy=policy)

    def with_slots(slots: int) -> Frontier:
        reader = replace(policy.reader, mask_slots=slots)
        return trace_frontier(replace(point, policy=replace(policy, reader=reader)))

    fewer, whole = with_slots(2), with_slots(3)
    found = trace_frontier(point, Options(tuning=Tuning(longest_list=1)))
    assert (found.status, found.searched["slots"], whole.searched["slots"]) == ("restricted", 2, 3)
    assert within(found, fewer) and within(whole, found)
    assert counts(fewer) != counts(whole), "or longer chains buy nothing here"
    (warning,) = [text for text in found.warnings if "were not all searched" in text]
    assert warning.startswith("chains of more than 2 masks were not all searched")
    assert "reader.mask_slots 2" in warning and "solve" in warning
    text = re.sub(r"\s+", " ", frontier_text(found))
    assert "no strategy of at most 2 masks betters one" in text and "at most 2 of them," in text


def test_a_disagreement_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    module = importlib.import_module("strategist.answers.frontier")

    def other(*given: Any) -> Outcome:
        outcome = evaluate(*given)
        return dataclasses.replace(outcome, missed=outcome.missed + 1)

    monkeypatch.setattr(module, "evaluate", other)
    with pytest.raises(DisagreementError):
        trace_frontier(by_cutoff(MADE))


def test_equal_weights_choose_the_least_guarded_of_equal_points() -> None:
    """At a ratio of 1.25 both ends of the frontier have the same loss: one is chosen."""
    point = by_cutoff(MADE)
    point = replace(point, policy=replace(point.policy, loss=Loss(1.25, 1.0)))
    frontier = trace_frontier(point)
    tied = [one for one in frontier.points if one.loss == 5.0]
    assert len(tied) == 2
    (chosen,) = [one for one in frontier.points if one.chosen]
    assert chosen.guarded_loss == min(one.guarded_loss for one in tied)


def test_each_of_two_points_that_lose_alike_keeps_its_counts() -> None:
    """A wanted tag and a stray are as strong, and weigh the same: a cutoff in (−70, −60] keeps
    both, one in (−60, −50] neither. Together they are one range of that loss, with −60 in its
    middle, which is of the first alone."""
    tags = [(STRAY, -70.0), (WANTED, -60.0), (STRAY, -60.0), (WANTED, -50.0)]
    found = trace_frontier(by_cutoff(tags, loss=Loss(1.0, 1.0))).points
    assert [(one.missed, one.stray, one.loss) for one in found] == [(0, 1, 1.0), (1, 0, 1.0)]
    assert [one.strategy.cutoff_dbm for one in found] == [-60.0, -55.0]


def over_weights(seed: int) -> ReadPoint:
    """The first pass counts three times."""
    point = small(seed)
    weight = np.where(np.arange(len(point.survey.pass_ids)) == 0, 3.0, 1.0)
    return replace(point, survey=replace(point.survey, pass_weight=weight))


@pytest.mark.parametrize("seed", [85, 88, 89])
def test_over_weights_the_ranges_meet_and_end_at_four_times_the_own_ratio(seed: int) -> None:
    point = over_weights(seed)
    found = trace_frontier(point)
    own = point.policy.loss.missed / point.policy.loss.stray
    assert found.status == "best" and len(found.points) == 2
    first, second = (one.best_for for one in found.points)
    assert first is not None and second is not None
    assert (first.high, second.low) == (4 * own, own / 4)
    assert own / 4 < first.low == second.high
    assert second.high is not None and second.high < 4 * own


def test_over_separate_conditions_a_point_is_told_in_the_mean() -> None:
    """Whatever the worst condition comes to: losses are those of the counts."""
    points = [
        in_conditions(over_weights(seed), 1, conditions=InConditions(aim="worst"))
        for seed in (85, 88, 89)
    ]
    apart = 0
    for point in points:
        found = trace_frontier(point)
        assert found.over is not None and any(
            "Counts are over all" in one for one in found.warnings
        )
        for one in found.points:
            assert one.per_pass is not None and one.over is not None
            mean = (
                point.policy.loss.missed * one.over.missed
                + point.policy.loss.stray * one.over.stray
            )
            assert one.per_pass.loss == pytest.approx(mean / found.over.passes, abs=1e-6)
            passes = passes_over(point, 0)
            assert passes is not None and passes.separate
            worst = per_pass_of(passes, point.policy, one.strategy)
            apart += worst.loss > one.per_pass.loss + 1e-6
    assert apart


def test_ratios_are_of_weights_to_six_digits() -> None:
    """1.0000006 is the fraction next to it of numbers up to a million."""
    near = Fraction(1_000_000, 999_999)
    assert _ratios(Loss(1.0000006, 1.0)) == (near / 4, near * 4)
    assert _ratios(Loss(1.0, 1.0000006)) == (1 / near / 4, 4 / near)
    assert _ratios(Loss(5.0, 2.0)) == (Fraction(5, 8), Fraction(10))
    assert _ratios(Loss(0.1, 0.3)) == (Fraction(1, 12), Fraction(4, 3))


@pytest.mark.parametrize(
    ("missed", "stray"), [(987_654.321, 0.001234567), (0.0012345678, 98_765.4)]
)
def test_ratios_far_from_one_can_be_multiplied_by_counts(missed: float, stray: float) -> None:
    for ratio, sought in zip(_ratios(Loss(missed, stray)), (0.25, 4.0), strict=True):
        assert float(ratio) == pytest.approx(missed / stray * sought, rel=1e-6)
        assert max(ratio.numerator, ratio.denominator) < 2**32
