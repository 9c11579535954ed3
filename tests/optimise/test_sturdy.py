"""The sturdiest strategy within the allowance, against brute force: every strategy, replayed."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import pytest

from strategist.answers.solution import Options, solve
from strategist.optimise.clock import Clock
from strategist.optimise.outer import least_guarded
from strategist.optimise.strategy import Strategy
from strategist.optimise.sturdy import Sturdy, sturdiest
from strategist.optimise.tuning import DEFAULT, Tuning
from strategist.survey.records import ReadPoint
from tests.optimise.made import (
    BY_BOUNDS,
    Replays,
    excess,
    preference,
    random_read_point,
    strategies,
    with_predicted,
    with_steps,
)

SEEDS = [seed for seed in range(40) if seed % 5 != 1]  # of the others the guards are 0
WITH_ONE = [170, 213, 245, 267, 270, 295, 300, 385, 389]


@cache
def made(seed: int) -> ReadPoint:
    return random_read_point(seed, 0)


@cache
def expected(read_point: ReadPoint) -> tuple[Any, ...] | None:
    """(guarded loss, loss, masks, cutoff or none, steps, levels from the top, mask bits)."""
    survey, policy, replays = read_point.survey, read_point.policy, Replays(read_point)
    best: tuple[Any, ...] | None = None
    allowed: list[tuple[float, Strategy]] = []
    for strategy in strategies(read_point):
        outcome = replays.outcome(strategy)
        over, loss = excess(outcome, policy), round(outcome.loss, 6)
        if best is None or (over, loss) <= best[:2]:
            key = preference(strategy, outcome, read_point, replays)
            best = key if best is None else min(best, key)
        if over == 0:
            allowed.append((loss, strategy))
    assert best is not None
    if best[0]:
        return None
    _, least, guarded, *_ = best
    most = least + max(policy.loss.missed, 0.05 * least)
    wanted = int(survey.roster_wanted.sum())
    silent = policy.loss.missed * wanted
    if policy.limits.missed_rate_max is not None and wanted:
        silent = math.inf  # a limit below 1 forbids it
    keys = [
        preference(strategy, replays.outcome(strategy), read_point, replays)
        for loss, strategy in allowed
        if loss <= most and loss < silent and loss < least + guarded
    ]
    near = [(key[2], key[1], *key[3:]) for key in keys if key[1] + key[2] < least + guarded]
    return min(near, default=None)


def found(read_point: ReadPoint, tuning: Tuning) -> Sturdy | None:
    """What the search finds; None where the best itself exceeds a hard limit."""
    best = solve(read_point, Options(tuning=tuning))
    if best.answer.key[0] or best.beaten_by_silence:
        return None
    return sturdiest(best.parts, best.found, Clock())


def assert_like_brute_force(read_point: ReadPoint, tuning: Tuning = DEFAULT) -> None:
    sought, levels = expected(read_point), read_point.survey.levels_dbm
    sturdy = found(read_point, tuning)
    if sturdy is None or sturdy.found is None:
        assert sought is None
        return
    assert sought is not None
    answer, problem = sturdy.found.answer, sturdy.found.part.problem
    key = answer.key
    assert (key[2], key[1], *key[3:6]) == sought[:5]
    assert tuple(problem.profile.levels_dbm[list(answer.levels)][::-1]) == sought[5]
    assert key[-1] == sought[6] and sturdy.bound == key[2] and len(levels)


@pytest.mark.parametrize("seed", [*SEEDS, *WITH_ONE])
def test_the_sturdiest_equals_brute_force(seed: int) -> None:
    point = made(seed)
    assert_like_brute_force(point)
    assert_like_brute_force(point, BY_BOUNDS)


@pytest.mark.parametrize("seed", [*range(8), 39, 52])
def test_with_steps_and_predicted_levels(seed: int) -> None:
    assert_like_brute_force(with_predicted(with_steps(random_read_point(seed, 0), seed), seed))


def test_there_is_one_in_some_and_none_in_others() -> None:
    """Otherwise the equality above would say little."""
    sought = [expected(made(seed)) for seed in [*SEEDS, *WITH_ONE]]
    assert sum(one is not None for one in sought) >= 8
    assert sum(one is None for one in sought) >= 15


def test_out_of_time_nothing_is_claimed() -> None:
    point = random_read_point(3, 0)
    best = solve(point)
    late = sturdiest(best.parts, best.found, Clock(0.0))
    assert late == Sturdy(None, 0.0)


@pytest.mark.parametrize("seed", SEEDS[::3])
def test_no_strategy_at_all_has_a_lower_guarded_loss(seed: int) -> None:
    """Whatever its loss and the hard limits."""
    point, replays = made(seed), Replays(made(seed))
    drifted = [
        preference(strategy, replays.outcome(strategy), point, replays)[2]
        for strategy in strategies(point)
    ]
    assert least_guarded(solve(point).parts, Clock()) == min(drifted)
