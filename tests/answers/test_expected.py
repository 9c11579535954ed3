"""The aim "expected": chosen over copies of the survey, with what to expect and how good it is."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from strategist.answers.assessment import choose
from strategist.answers.expected import expected_of, foretold_of
from strategist.answers.solution import Options, solve
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Limits, Loss, Policy
from strategist.survey.profile import aggregate, peaks
from strategist.survey.records import ReadPoint
from strategist.tags.candidates import find_candidates
from tests.bench.drawn import drawn_read_point
from tests.optimise.made import brute_force, random_read_point, survey_of

QUICK = Options(unseen=False)


def expecting(point: ReadPoint) -> ReadPoint:
    return replace(point, policy=replace(point.policy, aim="expected"))


@pytest.mark.parametrize("seed", [0, 2, 5, 7, 11])
def test_over_the_copies_it_is_what_brute_force_prefers(seed: int) -> None:
    """The whole order of preference: excess, loss, guarded loss, then the work to install."""
    found = solve(expecting(random_read_point(seed, 0)), QUICK)
    assert found.over is not None
    assert found.answer.proven
    key, _ = brute_force(ReadPoint(found.over.passes.survey, found.whole.policy))
    assert list(found.answer.key[:6]) == pytest.approx([float(part) for part in key[:6]])


def test_loss_is_the_surveys_and_the_proof_is_of_the_copies() -> None:
    point = drawn_read_point("soiled-chute", 20, 10_001)
    result, own = choose(expecting(point), QUICK), choose(point, QUICK)
    assert result.status == "optimal"
    assert result.loss == result.outcome.loss >= own.loss
    assert result.bound == own.bound
    assert result.expected is not None
    assert result.expected.loss.survey_best_loss == own.loss
    assert not any("what varies from pass to pass" in one for one in result.warnings)
    assert own.expected is None
    told = own.to_json()
    assert told["expected_loss"] is told["optimum_interval"] is None


def test_same_seed_same_bytes() -> None:
    point = expecting(drawn_read_point("sorting-belt", 8, 4))

    def told(seed: int) -> str:
        found = choose(point, replace(QUICK, seed=seed)).to_json()
        return json.dumps({k: v for k, v in found.items() if k != "seconds"})

    assert told(3) == told(3)
    assert told(3) != told(4)


def test_intervals_hold_what_they_are_around() -> None:
    solution = solve(expecting(drawn_read_point("shelf-cabinet", 20, 8)), QUICK)
    found = expected_of(solution, QUICK)
    assert found is not None
    loss, optimum = found.loss, found.optimum
    assert 0 <= loss.low <= loss.a_pass <= loss.high == optimum.high
    assert 0 <= optimum.low <= optimum.high
    assert optimum.gap == pytest.approx(loss.a_pass - optimum.low)
    assert solution.per_pass is not None
    assert optimum.low < optimum.bound == solution.per_pass.loss


def test_without_time_the_bound_is_open_and_said_to_be() -> None:
    hurried = replace(QUICK, time_limit_s=0.0)
    solution = solve(expecting(drawn_read_point("soiled-chute", 10, 8)), hurried)
    found = expected_of(solution, hurried)
    assert found is not None
    assert (found.optimum.low, found.optimum.bound) == (0.0, 0.0)
    assert "is open" in found.sentence


def test_a_run_is_held_against_what_the_survey_lets_expect() -> None:
    point = expecting(drawn_read_point("soiled-chute", 30, 8))
    strategy = solve(point, QUICK).strategy
    short = foretold_of(point, strategy, 5, found=0.4)
    long = foretold_of(point, strategy, 500, found=5.0)
    assert short is not None and long is not None
    assert short.low <= short.a_pass == long.a_pass <= long.high < short.high
    assert "within" in short.sentence
    assert "outside" in long.sentence
    plain = replace(point, policy=replace(point.policy, aim="survey"))
    assert foretold_of(plain, strategy, 5, found=0.4) is None


@pytest.mark.parametrize("passes", [1, 40])
def test_where_each_pass_loses_the_same_a_run_of_any_length_does(passes: int) -> None:
    """One tag is read in each pass, and one is never read."""
    rows = [("3001", True, [-50.0]), ("3002", True, [None])]
    survey = survey_of([20.0], [rows] * 20)  # type: ignore[list-item]
    point = ReadPoint(survey, Policy(aim="expected"))
    found = foretold_of(point, Strategy((20.0,)), passes, found=5.0)
    assert found is not None
    assert found.low == pytest.approx(found.high, abs=0.5) and found.low > 4


def test_a_pass_without_others_expects_anything() -> None:
    """One pass says nothing of the next: up to all missed and all strays reported."""
    point = drawn_read_point("soiled-chute", 1, 8)
    found = expected_of(solve(expecting(point), QUICK), QUICK)
    assert found is not None
    roster, weights = point.survey.roster_wanted, point.policy.loss
    most = weights.missed * roster.sum() + weights.stray * (~roster).sum()
    assert (found.loss.low, found.loss.high) == (0.0, most)


def test_passes_without_a_loss_do_not_promise_that_none_will_come() -> None:
    """Ten alike passes, nothing lost: up to 31 % of passes may lose (1 − 0.025^(1/10))."""
    one = [("AB01", True, [-50.0]), ("AB02", False, [-80.0])]
    point = ReadPoint(survey_of([20.0], [one] * 10), Policy(aim="expected"))
    found = expected_of(solve(point, QUICK), QUICK)
    assert found is not None
    assert (found.loss.a_pass, found.loss.low) == (0.0, 0.0)
    assert found.loss.high == pytest.approx(0.3085, abs=1e-4)


def test_limits_hold_over_the_copies() -> None:
    point = expecting(drawn_read_point("sorting-belt", 20, 10_003))
    limited = replace(point, policy=replace(point.policy, limits=Limits(stray_rate_max=0.2)))
    found = solve(limited, QUICK)
    assert found.over is not None
    assert found.status == "optimal"
    assert found.over.outcome.stray_rate <= 0.2


def test_masks_are_judged_on_tags_not_on_copies() -> None:
    point = drawn_read_point("shelf-cabinet", 12, 5)
    found = solve(expecting(point), QUICK)
    assert found.over is not None
    assert found.over.passes.survey.tags == point.survey.tags
    own = find_candidates(point.survey.tags, point.policy.reader)
    assert found.problem.candidates.masks == own.masks


def test_a_pass_that_counts_several_times_is_so_many_passes() -> None:
    survey = drawn_read_point("soiled-chute", 6, 5).survey
    times = np.array([2, 0, 1, 3, 0, 1])
    klass = np.arange(len(survey.tags))
    one, _ = aggregate(survey, klass, peaks(survey), times)
    kept = survey.keep(passes=times > 0)
    other, _ = aggregate(kept, klass, peaks(kept))
    assert one.pass_count.sum() == times.sum()
    assert len(one.pass_count) == len(other.pass_count)
    assert np.array_equal(one.rssi, other.rssi)


def where_nothing_varies(stray_in: list[bool], weights: list[float]) -> ReadPoint:
    """Each pass has a tag of its own, heard alike in all, and some a stray 10 dB stronger: nothing
    tells the two apart but that the stray is stronger, and it is cheaper to report it."""
    heard: list[float | None] = [None, -60.0, -59.0]
    passes = [
        [(f"AA{p:02X}", True, heard), *([(f"BB{p:02X}", False, [None, -50.0, -49.0])] * there)]
        for p, there in enumerate(stray_in)
    ]
    survey = replace(survey_of([10.0, 20.0, 30.0], passes), pass_weight=np.array(weights))
    policy = Policy(loss=Loss(5.0, 1.0), aim="expected", allow=("power", "ladder", "cutoff"))
    return ReadPoint(survey, policy)


def test_where_all_passes_are_alike_there_is_nothing_to_be_unsure_of() -> None:
    """Each pass to come loses its stray, under any strategy: no batch is below, none above."""
    found = choose(where_nothing_varies([True] * 12, [1.0] * 12), QUICK)
    assert found.expected is not None and found.optimum_interval is not None
    loss, optimum = found.expected.loss, found.optimum_interval
    assert (loss.a_pass, loss.low, loss.high) == (1.0, 1.0, 1.0)
    assert sum("what varies from pass to pass" in one for one in found.warnings) == 1
    assert (optimum.low, optimum.high, optimum.gap) == (1.0, 1.0, 0.0)


@pytest.mark.parametrize("weights", [[1.0] * 12, [1.0, 2.0] * 6])
def test_the_interval_of_the_loss_is_that_of_a_mean_of_passes(weights: list[float]) -> None:
    """By weight; Student's law with 11 degrees of freedom, whose 97.5 % point is 2.20099 (tables of
    the t distribution)."""
    stray_in = [p in (0, 2, 3, 6, 11) for p in range(12)]
    found = choose(where_nothing_varies(stray_in, weights), QUICK).expected
    assert found is not None
    mean = sum(w for w, there in zip(weights, stray_in, strict=True) if there) / sum(weights)
    off = [w * (there - mean) for w, there in zip(weights, stray_in, strict=True)]
    half = 2.20099 * (sum(x * x for x in off) * 12 / 11) ** 0.5 / sum(weights)
    assert found.loss.a_pass == pytest.approx(mean, abs=1e-6)
    assert found.loss.low == pytest.approx(max(0.0, mean - half), abs=1e-5)
    assert found.loss.high == pytest.approx(mean + half, abs=1e-5)
