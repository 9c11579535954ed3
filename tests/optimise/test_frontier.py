"""The frontier against brute force, and against the search under hard limits."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from strategist.optimise.frontier import sweep
from strategist.optimise.problem import Problem, pose
from strategist.optimise.search import Clock, search
from strategist.optimise.staircase import Point
from strategist.survey.policy import Loss
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import evaluate
from tests.optimise.made import excess, preference, random_read_point, strategies

SEEDS = range(40)
LARGER = [(1, seed) for seed in (102, 110, 113, 118, 128)] + [(2, 204), (2, 206), (2, 208)]


def by_brute_force(read_point: ReadPoint) -> dict[Point, tuple[Any, ...]]:
    """The least work to install at each non-dominated (missed, stray) that keeps the limits."""
    found: dict[Point, tuple[Any, ...]] = {}
    for strategy in strategies(read_point):
        outcome = evaluate(read_point.survey, read_point.policy, strategy)
        if excess(outcome, read_point.policy) > 0:
            continue
        point = (outcome.missed, outcome.stray)
        work = preference(strategy, outcome, read_point.policy)[2:]
        found[point] = min(found.get(point, work), work)
    return {
        point: work
        for point, work in found.items()
        if not any(m <= point[0] and s <= point[1] and (m, s) != point for m, s in found)
    }


def by_limits(problem: Problem) -> list[Point]:
    """The points one by one: the fewest strays, then the fewest misses, with fewer misses each."""
    points, wanted = [], problem.wanted
    at_most = wanted
    while at_most >= 0:
        limits = problem.policy.limits
        rate = min(1.0, (at_most + 0.5) / wanted, limits.missed_rate_max or 1.0)
        if limits.missed_rate_max == 0.0:
            rate = 0.0
        policy = replace(
            problem.policy,
            loss=Loss(1.0, wanted + 1.0),
            limits=replace(limits, missed_rate_max=rate),
        )
        answer = search(replace(problem, policy=policy), Clock())
        if answer.key[0] > 0:
            break
        points.append((answer.counts.missed, answer.counts.stray))
        at_most = answer.counts.missed - 1
    return sorted(points)


@pytest.mark.parametrize("seed", SEEDS)
def test_small_frontiers_equal_brute_force(seed: int) -> None:
    read_point = random_read_point(seed, 0)
    expected = by_brute_force(read_point)
    found = sweep(pose(read_point.survey, read_point.policy), Clock())
    levels = [float(level) for level in read_point.survey.levels_dbm]
    work = {}
    for point in found.staircase.points:
        answer = found.staircase.answer(point)
        masks, cutoff, steps, *_, bits = answer.key[2:]
        ladder = tuple(levels[i] for i in reversed(answer.levels))
        work[point] = (masks, cutoff, steps, ladder, bits)
    assert work == expected
    assert found.open == ()
    assert found.stray_bounds == {point: point[1] for point in expected}


@pytest.mark.parametrize(("size", "seed"), LARGER)
def test_larger_frontiers_equal_the_search_under_limits(size: int, seed: int) -> None:
    read_point = random_read_point(seed, size)
    problem = pose(read_point.survey, read_point.policy)
    found = sweep(problem, Clock())
    assert found.staircase.points == by_limits(problem)
    assert len(found.staircase.points) > 1


def test_the_frontiers_are_not_all_alike() -> None:
    """Otherwise the equality says little: points that no weights find, limits that cut off."""
    points = [random_read_point(seed, 0) for seed in SEEDS]
    found = [sweep(pose(point.survey, point.policy), Clock()).staircase for point in points]
    assert sum(len(one.points) > 2 for one in found) >= 5
    assert sum(len(one.ratios()) < len(one.points) for one in found) >= 1
    assert sum(not one.points for one in found) >= 1


def test_fewer_levels_of_a_branch_bound_only_what_it_keeps() -> None:
    """A hundred draws with ragged reads: floors of tightened branches were once set too high."""
    for seed in range(400, 412):
        read_point = random_read_point(seed, 2)
        policy = replace(
            read_point.policy, stop_after=3, limits=replace(read_point.policy.limits)
        )
        problem = pose(read_point.survey, policy)
        assert sweep(problem, Clock()).staircase.points == by_limits(problem)


@pytest.mark.parametrize("seed", [113, 118, 128])
def test_a_stopped_sweep_says_no_more_than_it_knows(seed: int) -> None:
    """Cut short at any place, what it calls open holds every point of the whole that it lacks."""
    read_point = random_read_point(seed, 1)
    problem = pose(read_point.survey, read_point.policy)
    whole = sweep(problem, Clock()).staircase.points
    stopped = 0
    for looks in range(1, 200, 6):
        found = sweep(problem, _Counted(looks))
        for point in whole:
            known = point in found.staircase.points
            assert known or any(m >= point[0] and s >= point[1] for m, s in found.open)
        for (missed, stray), bound in found.stray_bounds.items():
            assert bound <= min((s for m, s in whole if m <= missed), default=stray)
        stopped += bool(found.open)
    assert stopped > 3


class _Counted(Clock):
    """A clock that runs out after so many looks at it."""

    def __init__(self, looks: int) -> None:
        super().__init__()
        object.__setattr__(self, "left", looks)

    def expired(self) -> bool:
        left: int = self.left  # type: ignore[attr-defined]
        object.__setattr__(self, "left", left - 1)
        return left <= 0
