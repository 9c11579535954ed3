"""Every answer about a read point keeps to what its policy aims at, and to what `solve` says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strategist.answers.assessment import choose
from strategist.answers.compare import Side, compare
from strategist.answers.frontier import Frontier, trace_frontier
from strategist.answers.over import passes_over
from strategist.answers.per_pass import judged_over, per_pass_of
from strategist.answers.solution import Options, Solution, solve
from strategist.answers.sturdier import sturdier_than
from strategist.answers.techniques import compare_techniques
from strategist.answers.what_if import what_if
from strategist.batch.templates import templates_of
from strategist.optimise.clock import Clock
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.copies import copies_for
from strategist.survey.policy import InConditions, Limits, Loss
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import evaluate
from strategist.trust.guarded import guarded_outcome
from tests.answers.test_conditions import two_places
from tests.bench.drawn import drawn_read_point
from tests.optimise.made import random_read_point

QUICK = Options(unseen=False)


def expecting(point: ReadPoint) -> ReadPoint:
    return replace(point, policy=replace(point.policy, aim="expected"))


@pytest.fixture(scope="module")
def chute() -> ReadPoint:
    return expecting(drawn_read_point("soiled-chute", 12, 10_001))


@pytest.fixture(scope="module")
def solved(chute: ReadPoint) -> Solution:
    return solve(chute, QUICK)


def test_means_a_pass_are_those_of_the_evaluator(chute: ReadPoint, solved: Solution) -> None:
    found, over = solved.per_pass, solved.over
    assert found is not None and over is not None
    survey, policy = over.passes.survey, chute.policy
    passes = len(survey.pass_ids)
    outcome = evaluate(survey, policy, solved.strategy)
    assert found.loss == pytest.approx(outcome.loss / passes, abs=1e-6)
    assert found.missed == pytest.approx(outcome.missed / passes, abs=1e-6)
    assert found.stray == pytest.approx(outcome.stray / passes, abs=1e-6)
    drifted = guarded_outcome(survey, policy, solved.strategy).loss
    assert found.guarded_loss == pytest.approx(drifted / passes, abs=1e-6)
    assert found.bound == found.loss < found.silence_loss == policy.loss.missed
    assert solve(replace(chute, policy=replace(policy, aim="survey"))).per_pass is None


@pytest.mark.parametrize("seed", [412])
def test_all_techniques_together_are_what_solve_finds(seed: int) -> None:
    point = expecting(random_read_point(seed, 1))
    own, found = solve(point, QUICK), compare_techniques(point, QUICK)
    first = found.variants[0]
    assert (first.strategy, first.per_pass) == (own.strategy, own.per_pass)
    assert (first.status, first.bound) == (own.status, own.bound)
    for one in found.variants:
        assert one.per_pass is not None and one.extra_a_pass is not None
        assert one.extra_a_pass >= 0
        assert one.per_pass.bound == one.per_pass.loss


@pytest.mark.parametrize("name", ["soiled-chute", "shelf-cabinet"])
def test_the_sturdier_strategy_loses_no_more_than_its_allowance(name: str) -> None:
    point = expecting(drawn_read_point(name, 8, 3))
    best = solve(point, QUICK)
    search = sturdier_than(best, Clock())
    assert best.per_pass is not None and search.bound is not None
    found = search.found
    if found is None:
        assert search.bound <= best.per_pass.guarded_loss
        return
    whole = complete(point)
    passes = passes_over(whole, 0)
    assert passes is not None and found.over is not None
    own = per_pass_of(passes, whole.policy, found.strategy)
    assert (found.over.loss, found.over.guarded_loss) == (own.loss, own.guarded_loss)
    assert found.over.extra_loss <= found.over.allowance + 1e-6
    assert found.over.guarded_saved > found.over.extra_loss
    assert found.over.bound <= found.over.guarded_loss


def points_of(found: Frontier) -> list[tuple[int, int]]:
    assert all(point.over is not None for point in found.points)
    return [(p.over.missed, p.over.stray) for p in found.points if p.over is not None]


def test_the_frontier_holds_what_solve_finds_and_nothing_is_below_it(
    chute: ReadPoint, solved: Solution
) -> None:
    found = trace_frontier(chute)
    assert found.status == "best"
    (chosen,) = [point for point in found.points if point.chosen]
    assert chosen.per_pass is not None and solved.per_pass is not None
    assert chosen.per_pass.loss == solved.per_pass.loss
    assert found.over is not None
    assert found.over.passes == copies_for(12) * found.presented.passes
    own = chute.policy.loss.missed / chute.policy.loss.stray
    ranges = [point.best_for for point in found.points]
    assert ranges[0] is not None and ranges[-1] is not None
    assert (ranges[0].high, ranges[-1].low) == (4 * own, own / 4)
    counts = points_of(found)
    for ratio in (own / 4, own, 4 * own):
        loss = Loss(ratio, 1.0)
        other = solve(replace(chute, policy=replace(chute.policy, loss=loss)), QUICK)
        least = min(ratio * missed + stray for missed, stray in counts)
        assert other.answer.bound[1] == pytest.approx(least)


def test_what_if_and_comparison_tell_the_same_losses(chute: ReadPoint, solved: Solution) -> None:
    found = what_if(chute, {"reader.ladder_steps_max": 5}, options=QUICK)
    assert found.loss_a_pass is not None and solved.per_pass is not None
    assert found.loss_a_pass.before == solved.per_pass.loss >= found.loss_a_pass.after
    survey = replace(chute, policy=replace(chute.policy, aim="survey"))
    sides = [Side("expected", solved.strategy), Side("survey", solve(survey, QUICK).strategy)]
    compared = compare(chute, sides)
    first, second = compared.rows
    assert first.per_pass is not None and second.per_pass is not None
    assert first.per_pass.loss == solved.per_pass.loss <= second.per_pass.loss
    assert compared.least_loss[0] == "expected"
    assert compared.changes[0].enough_loss >= first.per_pass.loss or not compared.changes[0].enough
    assert compare(survey, sides).rows[0].per_pass is None


def test_weights_are_an_aim_of_their_own() -> None:
    point = drawn_read_point("soiled-chute", 20, 77)
    weight = np.where(np.arange(20) < 3, 100.0, 1.0)
    heavy = replace(point, survey=replace(point.survey, pass_weight=weight))
    own, found = solve(heavy, QUICK), trace_frontier(heavy)
    assert own.per_pass is not None
    chosen = [p.per_pass.loss for p in found.points if p.chosen and p.per_pass is not None]
    assert chosen == [own.per_pass.loss]
    first = compare_techniques(heavy, QUICK).variants[0]
    assert first.per_pass == own.per_pass


def test_the_headline_speaks_of_passes_to_come(chute: ReadPoint) -> None:
    result = choose(chute, QUICK)
    assert result.per_pass is not None and result.expected is not None
    assert result.expected.sentence in result.headline.expect
    assert "a pass" in result.headline.robustness
    told = result.to_json()
    assert told["per_pass"]["loss"] == result.per_pass.loss
    assert told["proof"]["seed"] == 0


def test_separate_conditions_are_weighed_in_every_answer() -> None:
    point = two_places(conditions=InConditions(aim="worst"), allow=("power",))
    own = solve(point, QUICK)
    assert own.per_pass is not None and own.over is not None and own.over.weighed is not None
    assert own.per_pass.loss == pytest.approx(own.over.weighed.value, abs=1e-5)
    found = compare_techniques(point, QUICK)
    assert found.variants[0].strategy == own.strategy
    assert all(one.extra_a_pass is not None and one.extra_a_pass >= 0 for one in found.variants)
    assert any("not in this view" in text for text in trace_frontier(point).warnings)


def test_templates_are_priced_by_what_is_aimed_at(chute: ReadPoint, solved: Solution) -> None:
    """For as many passes as surveyed; the copies are those of the result."""
    survey = replace(chute, policy=replace(chute.policy, aim="survey"))
    one, other = choose(chute, replace(QUICK, seed=3)), choose(survey, QUICK)
    points = [("a", chute), ("b", survey)]
    own = {(case, p.name): r.to_json() for (case, p), r in zip(points, (one, other), strict=True)}
    found = templates_of(own, points, 2)
    assert one.per_pass is not None
    passes = one.outcome.passes
    assert found.points[0].own_loss == pytest.approx(passes * one.per_pass.loss, abs=1e-4)
    assert found.points[1].own_loss == other.loss
    assert found.points[0].own_loss == found.loss[0].min()


def test_limits_and_silence_are_judged_without_drift(chute: ReadPoint, solved: Solution) -> None:
    """By what is missed and stray in the copies, whatever the guards would add."""
    over = solved.over
    assert over is not None
    strategy = Strategy((25.0,))
    outcome = evaluate(over.passes.survey, chute.policy, strategy)
    rate, stray = outcome.missed / outcome.wanted, outcome.stray / len(outcome.by_pass)
    drifted = guarded_outcome(over.passes.survey, chute.policy, strategy).outcome
    assert drifted.missed + drifted.stray > outcome.missed + outcome.stray and outcome.missed > 0
    limits = Limits(missed_rate_max=rate / 2, stray_rate_max=stray / 2)
    strict = replace(chute.policy, limits=limits)
    found = per_pass_of(over.passes, strict, strategy)
    assert found.excess == pytest.approx(limits.excess(rate, stray), abs=1e-6)
    excess, loss, silent_excess, silence = judged_over(over.passes, strict, strategy)
    assert (excess, loss, silence) == (found.excess, found.loss, found.silence_loss)
    assert silent_excess == pytest.approx(limits.excess(1.0, 0.0), abs=1e-6)


def test_a_guarded_loss_that_is_not_proven_is_told_a_pass(chute: ReadPoint) -> None:
    options = replace(QUICK, tuning=replace(QUICK.tuning, patience=0), sturdier=False)
    found = choose(chute, options)
    assert found.status == "optimal" and found.per_pass is not None
    (said,) = [one for one in found.warnings if one.startswith("The loss is proven, the guarded")]
    assert f"it is {found.per_pass.guarded_loss:g} a pass here" in said


def test_limits_in_each_condition_are_judged_without_drift() -> None:
    limits, strategy = Limits(missed_rate_max=0.01, stray_rate_max=0.01), Strategy((25.0,))
    point = complete(two_places(aim="survey", limits=limits))
    passes = passes_over(point, 0)
    assert passes is not None and passes.separate
    outcome = evaluate(point.survey, point.policy, strategy)
    over = []
    for half in (outcome.by_pass[::2], outcome.by_pass[1::2]):
        missed, wanted = sum(len(p.missed) for p in half), sum(p.wanted for p in half)
        over.append(limits.excess(missed / wanted, sum(len(p.stray) for p in half) / len(half)))
    assert sum(over) > 0
    found = per_pass_of(passes, point.policy, strategy)
    assert found.excess == pytest.approx(sum(over), abs=1e-5)
