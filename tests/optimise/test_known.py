"""A strategy that is known is the answer that the evaluator says, or none of the problem's."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from strategist.optimise.known import answer_of
from strategist.optimise.problem import Problem, pose
from strategist.optimise.strategy import Strategy
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import evaluate
from tests.optimise.made import random_read_point, strategies

SOME = 60  # strategies of each read point


def drawn(seed: int) -> tuple[ReadPoint, Problem, list[Strategy]]:
    point = random_read_point(seed, 0)
    every = list(itertools.islice(strategies(point), 20_000))
    rng = np.random.default_rng(seed)
    chosen = rng.choice(len(every), min(SOME, len(every)), replace=False)
    return point, pose(point.survey, point.policy), [every[i] for i in chosen]


def known(point: ReadPoint, problem: Problem, strategy: Strategy) -> tuple[int, int] | None:
    answer = answer_of(problem, strategy, point.survey.tags)
    return None if answer is None else (answer.counts.missed, answer.counts.stray)


@pytest.mark.parametrize("seed", range(30))
def test_what_may_be_chosen_is_known_as_the_evaluator_sees_it(seed: int) -> None:
    point, problem, chosen = drawn(seed)
    for strategy in chosen:
        outcome = evaluate(point.survey, point.policy, strategy)
        assert known(point, problem, strategy) == (outcome.missed, outcome.stray)


@pytest.mark.parametrize("seed", range(30))
def test_a_cutoff_that_rejects_nothing_is_none(seed: int) -> None:
    """At the weakest read of all and below it, down to what readers know."""
    point, problem, chosen = drawn(seed)
    if "cutoff" not in point.policy.allow or len(problem.thresholds) < 2:
        return
    weakest = float(point.survey.read_rssi.min())
    for strategy in (one for one in chosen if one.cutoff_dbm is None):
        for cutoff in (weakest, weakest - 5):
            same = replace(strategy, cutoff_dbm=cutoff)
            assert known(point, problem, same) == known(point, problem, strategy)


def test_what_may_not_be_chosen_is_not_known() -> None:
    """Too many steps, another top where power is not free, another rule to stop, a level that was
    not surveyed, a cutoff above all that was read: each on its own."""
    refused = {"steps": 0, "top": 0}
    for seed in range(60):
        point, problem, chosen = drawn(seed)
        levels, top = point.survey.levels_dbm.tolist(), len(problem.profile.levels_dbm) - 1
        for one in chosen[:10]:
            for other in (
                replace(one, stop_after=point.policy.stop_after + 1),
                replace(one, levels_dbm=(*one.levels_dbm, 39.9)),
                replace(one, cutoff_dbm=-0.001),
            ):
                assert known(point, problem, other) is None
            steps = problem.steps_by_masks[len(one.masks)]
            choosable = problem.profile.levels_dbm.tolist()
            if len(choosable) > steps:
                longer = replace(one, levels_dbm=tuple(choosable[top - steps :]))
                assert known(point, problem, longer) is None
                refused["steps"] += 1
            if problem.top_fixed and len(levels) > 1 and top > 0:
                lower = replace(one, levels_dbm=(choosable[0],))
                assert known(point, problem, lower) is None
                refused["top"] += 1
    assert min(refused.values()) > 20
