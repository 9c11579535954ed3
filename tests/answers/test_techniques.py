"""What techniques buy: each variant is the best under a policy that allows just that."""

from __future__ import annotations

import importlib
from dataclasses import replace

import pytest

from strategist.answers.assessment import choose
from strategist.answers.solution import Options, Solution, solve
from strategist.answers.techniques import Variant, compare_techniques
from strategist.optimise.clock import Clock
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Limits, Reader
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import evaluate
from tests.optimise.made import random_read_point, survey_of
from tests.surveyed import surveyed_policy

QUICK = Options(unseen=False)


def open_point(seed: int) -> ReadPoint:
    """A drawn read point that allows everything, with two mask slots and no limits."""
    point = random_read_point(seed, 2)
    reader = Reader(ladder_steps_max=2, mask_slots=2)
    return replace(
        point, policy=surveyed_policy(loss=point.policy.loss, reader=reader, serial_masks=True)
    )


@pytest.mark.parametrize("seed", [204, 412])
def test_each_variant_is_what_choose_finds(seed: int) -> None:
    point = open_point(seed)
    variants = compare_techniques(point).variants
    assert len({v.loss for v in variants}) > 2
    for variant in variants:
        reader = replace(point.policy.reader, mask_slots=variant.masks_max)
        policy = replace(point.policy, allow=variant.allow, reader=reader)
        result = choose(replace(point, policy=policy), QUICK)
        assert variant.status in ("optimal", "silent") and variant.bound == variant.loss
        assert (variant.status, variant.loss) == (result.status, result.loss)
        assert variant.strategy == result.strategy
        assert variant.extra_loss == pytest.approx(variant.loss - variants[0].loss)
        assert_keeps_to(variant, point)


def assert_keeps_to(variant: Variant, point: ReadPoint) -> None:
    strategy = variant.strategy
    top = float(point.survey.levels_dbm[-1])
    assert "power" in variant.allow or strategy.levels_dbm[-1] == top
    assert "ladder" in variant.allow or len(strategy.levels_dbm) == 1
    assert "cutoff" in variant.allow or strategy.cutoff_dbm is None
    assert len(strategy.masks) <= variant.masks_max


@pytest.mark.parametrize("stopped", ["all together", "all but single ones"])
def test_time_that_runs_out_makes_no_technique_cost_anything(
    monkeypatch: pytest.MonkeyPatch, stopped: str
) -> None:
    """The clock of some searches has expired before they begin. Alone they would do worse than
    variants with fewer techniques; those strategies they may use, and the bound stays their own."""
    module = importlib.import_module("strategist.answers.techniques")
    point = open_point(412)
    proven = {v.name: v for v in compare_techniques(point).variants}
    own: list[Solution] = []

    def hurried(
        whole: ReadPoint, options: Options, known: Strategy | None, *, clock: Clock
    ) -> Solution:
        everything = len(whole.policy.allow) == 4 and whole.policy.reader.mask_slots == 2
        out = everything if stopped == "all together" else len(whole.policy.allow) > 1
        own.append(solve(whole, options, known, clock=Clock(0.0) if out else clock))
        return own[-1]

    monkeypatch.setattr(module, "solve", hurried)
    found = compare_techniques(point).variants
    first, best = found[0], proven["all together"]
    assert own[0].loss > min(one.loss for one in own), "or the test shows nothing"
    for one in found:
        assert one.extra_loss == pytest.approx(one.loss - first.loss) and one.extra_loss >= 0
        assert one.bound <= proven[one.name].loss <= one.loss
        if one.status == "silent":
            assert one.bound >= point.policy.loss.missed * one.outcome.wanted
        else:
            assert one.status == ("optimal" if one.bound == one.loss else "feasible")
        outcome = evaluate(point.survey, point.policy, one.strategy)
        assert (outcome.missed, outcome.stray) == (one.outcome.missed, one.outcome.stray)
        assert_keeps_to(one, point)
        more = [m for m in found if set(one.allow) <= set(m.allow) and one.masks_max <= m.masks_max]
        assert all(m.loss <= one.loss and m.bound <= one.bound for m in more)
    if stopped == "all together":  # 'without' variants were proven, so it has the best of them
        assert first.loss == min(one.loss for one in own)
    assert first.loss >= best.loss


def test_the_variants_asked_for() -> None:
    names = [variant.name for variant in compare_techniques(open_point(204)).variants]
    assert names == [
        "all together",
        "nothing",
        *(f"{one} alone" for one in ("power", "ladder", "cutoff", "masks")),
        *(f"without {one}" for one in ("power", "ladder", "cutoff", "masks")),
        *("one level", "no cutoff", "one level, no cutoff"),
        *("no mask", "at most 1 mask", "at most 2 masks"),
    ]


def test_what_the_policy_forbids_is_not_tried() -> None:
    point = open_point(204)
    point = replace(point, policy=replace(point.policy, allow=("cutoff", "power")))
    variants = compare_techniques(point).variants
    assert all(set(variant.allow) <= {"cutoff", "power"} for variant in variants)
    assert "masks alone" not in {variant.name for variant in variants}


def test_a_limit_that_needs_a_technique() -> None:
    """The stray is as near as the wanted tag and weaker: without a cutoff it comes along."""
    survey = survey_of([20.0], [[("AB01", True, [-50.0]), ("AB02", False, [-60.0])]])
    policy = surveyed_policy(allow=("power", "cutoff"), limits=Limits(stray_rate_max=0.0))
    variants = {v.name: v for v in compare_techniques(ReadPoint(survey, policy)).variants}
    assert variants["all together"].status == "optimal"
    assert variants["all together"].loss == 0
    assert variants["without cutoff"].status == "infeasible"
    assert variants["power alone"].outcome.stray == 1
