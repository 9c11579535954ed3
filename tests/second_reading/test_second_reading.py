"""Evaluator and optimiser against a second reading of what a strategy means.

The brute force of `tests/optimise` counts with the package's own evaluator, guarded loss, candidate
masks and step times. The reading here begins at the rows of a case and takes nothing from it.
"""

from __future__ import annotations

import ast
import json
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import strategist
from strategist import InputError, Options
from strategist.optimise.tuning import Tuning
from tests.optimise.made import BY_BOUNDS, BY_JOINS, BY_POOR_STARTS, BY_SPLITS
from tests.second_reading.drawn import NAME, Json, case, case_with_antennas, score, strategy
from tests.second_reading.optimum import Key, Trial, best_cutoff, best_key, frontier, key_of
from tests.second_reading.scores import heard
from tests.second_reading.survey import (
    NotAnsweredError,
    guard_of,
    read_survey,
    told,
    total,
)

EVALUATED = range(200)  # cases, with four strategies each
OPTIMISED = range(1000, 1090)
TRACED = range(1000, 1040)
SCORED = range(2000, 2200)
READING = ("survey", "candidates", "optimum", "drawn", "scores")


def policy_of(document: Json) -> Json:
    policy: Json = document["site"]["read_points"][NAME]
    return policy


def given(document: Json) -> strategist.ReadPoint:
    (point,) = strategist.read_case_document(json.dumps(document).encode()).read_points
    return point


def answered(document: Json) -> bool:
    try:
        read_survey(document, NAME)
    except NotAnsweredError:
        return False
    return True


@cache
def trial_of(seed: int) -> Trial:
    document = case(seed)
    return Trial(read_survey(document, NAME), policy_of(document))


@cache
def best_of(seed: int) -> Key:
    return best_key(trial_of(seed))


@cache
def frontier_of(seed: int) -> dict[tuple[int, int], Any]:
    return frontier(trial_of(seed))


@pytest.mark.parametrize("name", READING)
def test_the_reading_takes_nothing_from_the_package(name: str) -> None:
    tree = ast.parse((Path(__file__).parent / f"{name}.py").read_text())
    modules = {
        module
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for module in (
            [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else [alias.name for alias in node.names]
        )
    }
    ours = {module for module in modules if module.startswith(("tests", "strategist", "api"))}
    assert ours <= {f"tests.second_reading.{other}" for other in READING}


@pytest.mark.parametrize("seed", EVALUATED)
def test_a_strategy_does_what_the_second_reading_says(seed: int) -> None:
    """Tag by tag and pass by pass, as surveyed; the loss; and the loss under the guards."""
    document = case(seed)
    point = given(document)
    for number in range(4):
        text = strategy(10 * seed + number, document)
        assert_told(point, text, document, text)


@pytest.mark.parametrize("seed", SCORED)
def test_a_score_is_what_the_second_reading_says(seed: int) -> None:
    """The same where reads name antennas and times, with any score."""
    document = case_with_antennas(seed)
    point = given(document)
    for number in range(4):
        text, own = strategy(10 * seed + number, document), score(10 * seed + number, document)
        if own is not None:
            text["score"] = own
            if own["kind"] == "difference":
                cutoff = text.pop("cutoff_dbm")
                text["cutoff_db"] = None if cutoff is None else cutoff + 64
        steps_s = policy_of(document).get("time", {}).get("step_s")
        if isinstance(steps_s, list) and number % 2:
            text["step_s"] = steps_s[0]
        try:
            in_scores, plain = heard(document, NAME, text)
        except NotAnsweredError:
            taken = strategist.read_strategy(json.dumps(text).encode(), "strategy")
            with pytest.raises(InputError):
                strategist.evaluate_at(point, taken)
            continue
        assert_told(point, text, in_scores, plain)


def assert_told(point: strategist.ReadPoint, text: Json, document: Json, plain: Json) -> None:
    """What the package says of a strategy is what the reading says of a (plain) one."""
    policy = policy_of(document)
    taken = strategist.read_strategy(json.dumps(text).encode(), "strategy")
    try:
        survey = read_survey(document, NAME)
        found, drifted = told(survey, plain), told(survey, plain, guard_of(policy))
    except NotAnsweredError:
        with pytest.raises(InputError):
            strategist.evaluate_at(point, taken)
        return
    evaluation = strategist.evaluate_at(point, taken)
    whole = strategist.complete(point)
    epcs = [tag.epc for tag in whole.survey.tags]
    outcome = evaluation.outcome
    assert [one.pass_id for one in outcome.by_pass] == [one.name for one in survey.passes]
    for ours, theirs in zip(found, outcome.by_pass, strict=True):
        assert {epcs[i] for i in theirs.missed} == ours.missed
        assert {epcs[i] for i in theirs.stray} == ours.stray
        assert theirs.steps == ours.steps
    assert outcome.wanted == sum(len(one.wanted) for one in survey.passes)
    assert outcome.stray_presented == sum(len(one.stray) for one in survey.passes)
    assert outcome.loss == pytest.approx(float(total(policy, found)), abs=1e-9)
    guarded = strategist.guarded_loss(whole.survey, whole.policy, taken)
    assert guarded == pytest.approx(float(total(policy, drifted)), abs=1e-9)


@pytest.mark.parametrize("seed", OPTIMISED)
def test_the_best_strategy_is_the_one_that_trying_all_finds(seed: int) -> None:
    """In the whole order: limits, loss, guarded loss, work to install, and the place of the
    cutoff; by search, by search through its bounds, through splits alone and from poor
    starts, and for some by the mixed-integer model."""
    document = case(seed)
    point = given(document)
    if not answered(document):
        with pytest.raises(InputError):
            strategist.choose(point, Options(unseen=False))
        return
    trial, best = trial_of(seed), best_of(seed)
    results = [strategist.choose(point, Options(unseen=False))]
    for route in (BY_BOUNDS, BY_SPLITS, BY_POOR_STARTS, BY_JOINS):
        options = Options(method="search", unseen=False, sturdier=False, tuning=route)
        results.append(strategist.choose(point, options))
    if seed % 5 == 0:
        options = Options(method="model", unseen=False, sturdier=False)
        results.append(strategist.choose(point, options))
    for result in results:
        text = result.strategy.to_json()
        assert key_of(trial, text) == best
        assert result.loss == result.bound == pytest.approx(float(best[1]), abs=1e-6)
        assert (result.status == "infeasible") == (best[0] > 0)
        if text["cutoff_dbm"] is not None:
            place = float(best_cutoff(trial, text))
            assert text["cutoff_dbm"] == pytest.approx(place, abs=1e-9)


@pytest.mark.parametrize("seed", TRACED)
def test_the_frontier_is_the_one_that_trying_all_finds(seed: int) -> None:
    """Its points, and at each the strategy that stands drift best and then takes least work."""
    document = case(seed)
    if not answered(document):
        return
    point = given(document)
    trial, expected = trial_of(seed), frontier_of(seed)
    for route in (Tuning(), BY_BOUNDS, BY_SPLITS, BY_JOINS):
        found = strategist.trace_frontier(point, Options(tuning=route))
        assert found.open == ()
        keys = {
            (one.outcome.missed, one.outcome.stray): key_of(trial, one.strategy.to_json())[2:]
            for one in found.points
        }
        assert keys == expected


def test_the_cases_are_not_all_alike() -> None:
    """Otherwise the equalities above would say little: each feature must occur often enough."""
    open_cases = [seed for seed in OPTIMISED if answered(case(seed))]
    policies = [policy_of(case(seed)) for seed in open_cases]
    rules = Counter(policy.get("untried") for policy in policies)
    assert len(open_cases) < len(OPTIMISED)
    assert rules["leave_out_level"] >= 5 and rules["leave_out_pass"] >= 5
    assert sum(policy["stop_after"] > 1 for policy in policies) >= 25
    assert sum(bool(policy["limits"]) for policy in policies) >= 25
    assert sum(policy["unlisted"] == "ignore" for policy in policies) >= 25
    assert sum("allow" in policy for policy in policies) >= 20
    assert sum("time" in policy for policy in policies) >= 8
    keys = [best_of(seed) for seed in open_cases[::3]]
    assert sum(key[0] > 0 for key in keys) >= 1
    assert sum(key[1] > 0 for key in keys) >= 10
    assert sum(key[2] > key[1] for key in keys) >= 8
    assert sum(key[3] > 0 for key in keys) >= 6
    assert sum(key[4] for key in keys) >= 4
    assert sum(key[5] > 1 for key in keys) >= 3
    points = [len(frontier_of(seed)) for seed in TRACED if answered(case(seed))]
    assert sum(count > 1 for count in points) >= 10 and max(points) >= 4
