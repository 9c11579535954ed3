"""Cross-validation by hand, with choosers that are told what to answer."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from strategist.answers.solution import Options, solve
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Loss
from strategist.survey.records import ReadPoint
from strategist.tags.mask import Mask
from strategist.trust.evaluate import evaluate
from strategist.trust.folds import CrossValidation, cross_validate, without_folds
from strategist.trust.intervals import clopper_pearson
from tests.optimise.made import random_read_point, survey_of
from tests.surveyed import surveyed_policy

POLICY = surveyed_policy(loss=Loss(5.0, 1.0), allow=("power", "cutoff"))
LOW, HIGH = Strategy((20.0,)), Strategy((21.0,))


def made(passes: int = 20) -> ReadPoint:
    """The wanted tag answers at 20 dBm in the first half of the passes, at 21 in the second; a
    stray comes with it at 21 dBm in the first half."""
    entries = [
        [("30", True, [-50.0, -50.0]), ("35", False, [None, -60.0])]
        if p < passes // 2
        else [("30", True, [None, -50.0])]
        for p in range(passes)
    ]
    return ReadPoint(survey_of([20.0, 21.0], entries), POLICY)


def crossed(point: ReadPoint, strategy: Strategy, answers: list[Strategy]) -> CrossValidation:
    outcome = evaluate(point.survey, point.policy, strategy)
    found = cross_validate(point, strategy, outcome, answers)
    assert found is not None
    return found


def test_each_fold_is_judged_by_the_strategy_chosen_without_it() -> None:
    """Low in the first fold: nothing lost. Low in the second: ten misses, 50 over 20 passes."""
    found = crossed(made(), HIGH, [LOW, LOW])
    assert (found.loss_per_pass.fitted, found.loss_per_pass.held_out) == (
        0.5,
        2.5,
    )  # high: ten strays of weight 1
    held = found.held_out
    assert (held.missed_by_tag.events, held.missed_by_tag.trials) == (10, 20)
    assert held.stray_by_pass.events == 0
    assert found.fitted.stray_by_pass.events == 10
    assert json.loads(json.dumps(found.to_json()))["loss_per_pass"]["held_out"] == 2.5


def test_held_out_intervals_span_the_fitted_ones() -> None:
    """Held out 10 missed and no stray, fitted the other way round: each interval reaches from the
    exact end of 0 of 20 to that of 10 of 20, of which a part counts, since one half of the survey
    differs from the other. Where both are alike it is the exact one."""
    found = crossed(made(), HIGH, [LOW, LOW])
    part = found.held_out.dependence.part
    assert part < 0.2
    high = clopper_pearson(10, 20, part=part).high
    for rate, fitted in (
        (found.held_out.missed_by_tag, found.fitted.missed_by_tag),
        (found.held_out.stray_by_pass, found.fitted.stray_by_pass),
    ):
        assert {rate.events, fitted.events} == {0, 10}
        assert (rate.low, rate.high) == pytest.approx((0, high))
        assert "spanning the fitted" in rate.method
    alike = crossed(made(), LOW, [LOW, LOW])
    assert alike.held_out == alike.fitted


def test_the_parts_leave_out_blocks_of_neighbours_and_are_whole() -> None:
    point = made(12)
    parts = without_folds(point, folds=3)
    assert all(part.policy is point.policy for part in parts)
    ids = point.survey.pass_ids
    assert [part.survey.pass_ids for part in parts] == [ids[4:], ids[:4] + ids[8:], ids[:8]]


def test_an_optimistic_fit_is_warned_of_with_its_figures() -> None:
    """Ten passes lose 5 more held out and ten lose 1 less: too much for chance."""
    optimistic = crossed(made(), LOW, [LOW, LOW])
    assert optimistic.chance == 1.0  # the same strategy again: nothing changes
    worse = crossed(made(), HIGH, [LOW, LOW])
    assert worse.chance < 0.05
    assert any("10 of 20 missed and 0 stray" in warning for warning in worse.warnings)
    assert any("0 of 20 missed and 10 stray" in warning for warning in worse.warnings)


def changed(worse: int, better: int, passes: int = 12) -> CrossValidation:
    """Where the folds' strategy loses 1 more in some passes (the wanted tag needs 21 dBm there) and
    1 less in others (a stray is heard at 21)."""
    late, early = [None, -50.0], [-50.0, -50.0]
    entries = [
        [("30", True, late if p < worse else early)]
        + ([("35", False, [None, -60.0])] if worse <= p < worse + better else [])
        for p in range(passes)
    ]
    point = ReadPoint(survey_of([20.0, 21.0], entries), surveyed_policy(loss=Loss(1.0, 1.0)))  # type: ignore[arg-type]
    return crossed(point, Strategy((21.0,), 2), [Strategy((20.0,), 2)] * 2)


def chance_of(worse: int, better: int) -> tuple[float, bool]:
    """(chance, whether warned)."""
    found = changed(worse, better)
    return found.chance, any("optimistic" in warning for warning in found.warnings)


def test_chance_is_that_of_signs_all_falling_one_way() -> None:
    """Five passes that all lose more: 1 in 2⁵, one-sided, is below 5 %; four passes: 1 in 16."""
    assert chance_of(5, 0) == (1 / 32, True)
    assert chance_of(4, 0) == (1 / 16, False)


def test_losses_a_pass_are_said_to_three_places() -> None:
    (warning,) = (one for one in changed(7, 0, 13).warnings if "optimistic" in one)
    assert "lose 0.538 each, and 0 as fitted" in warning


def test_more_lost_and_as_much_won_proves_nothing() -> None:
    assert chance_of(3, 3) == (1.0, False)
    assert chance_of(1, 4) == (1.0, False)
    assert chance_of(0, 0) == (1.0, False)


def test_one_pass_that_changed_proves_nothing() -> None:
    """Only the last pass loses more under the strategy that its fold got."""
    entries = [[("30", True, [None if p == 7 else -50.0, -50.0])] for p in range(8)]
    point = ReadPoint(survey_of([20.0, 21.0], entries), POLICY)
    found = crossed(point, HIGH, [HIGH, LOW])
    assert (found.loss_per_pass.held_out, found.chance) == (5 / 8, 0.5)
    assert not any("optimistic" in warning for warning in found.warnings)


def test_how_often_each_setting_came_again() -> None:
    mask = Mask("epc", 32, 8, "30")
    own = Strategy((20.0,), 1, -70.0, (mask,))
    second = Mask("epc", 32, 8, "35", negate=True)
    joined = Strategy((21.0,), 1, None, (second, Mask("epc", 32, 8, "30", join="and")))
    found = crossed(made(), own, [own, joined, Strategy((21.0,), 1, -60.0)]).chosen_again
    assert found.ladders == (((20.0,), 1), ((21.0,), 2))
    assert found.cutoffs_dbm == (-70.0, None, -60.0)
    assert found.chosen == ((mask, 2), (second, 1))
    told = found.to_json()
    assert told["cutoff"] == {"none": 1, "lowest_dbm": -70.0, "highest_dbm": -60.0}


def test_masks_chosen_again_as_often_stand_in_the_order_of_their_chain() -> None:
    """The same in every run, whatever order sets have."""
    first, *rest = [Mask("epc", 32, 8, f"{number:02X}") for number in range(8)]
    chain = (first, *(replace(mask, join="or") for mask in rest))
    found = crossed(made(), LOW, [Strategy((20.0,), masks=chain)] * 2).chosen_again
    assert found.chosen == tuple((mask, 2) for mask in (first, *rest))


def test_levels_seldom_chosen_again_are_warned_of() -> None:
    warnings = crossed(made(), LOW, [HIGH, HIGH, LOW]).warnings
    assert any("Only 1 of 3 folds chose 20 dBm again" in text for text in warnings)


def test_levels_chosen_again_by_half_of_the_folds_are_steady() -> None:
    def warned(*answers: Strategy) -> bool:
        return any("dBm again" in text for text in crossed(made(), LOW, [*answers]).warnings)

    assert not warned(LOW, LOW, HIGH, HIGH)
    assert warned(LOW, HIGH, HIGH, HIGH)


def test_too_few_passes_give_none() -> None:
    point = made(9)
    outcome = evaluate(point.survey, POLICY, LOW)
    assert without_folds(point) == [] and len(without_folds(made(10))) == 5
    assert cross_validate(point, LOW, outcome, []) is None


@pytest.mark.parametrize("seed", range(6))
def test_with_the_real_chooser_the_fit_never_loses_to_its_folds_on_their_own_passes(
    seed: int,
) -> None:
    """The fitted strategy is best on all passes, so no fold's strategy beats it over them all."""
    point = random_read_point(seed, size=2)
    strategy = solve(point, Options()).strategy
    outcome = evaluate(point.survey, point.policy, strategy)
    chosen = [solve(part).strategy for part in without_folds(point, folds=2)]
    found = cross_validate(point, strategy, outcome, chosen)
    if found is None or point.policy.limits != surveyed_policy().limits:
        return
    for chosen in found.strategies:
        assert evaluate(point.survey, point.policy, chosen).loss >= outcome.loss - 1e-9
