"""The frontier against brute force, and against the search under hard limits."""

from __future__ import annotations

import itertools
from collections import defaultdict
from dataclasses import replace
from fractions import Fraction
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest

from strategist.optimise.clock import Clock
from strategist.optimise.front import Point
from strategist.optimise.frontier import Sweep, sweep
from strategist.optimise.node import Node
from strategist.optimise.problem import Problem, pose
from strategist.optimise.scores import Parts
from strategist.optimise.search import search
from strategist.optimise.strategy import Strategy
from strategist.optimise.tuning import Tuning
from strategist.survey.policy import Limits, Loss
from strategist.survey.records import ReadPoint
from tests.optimise.counted import counted_clock
from tests.optimise.made import (
    BY_BOUNDS,
    BY_GUARDS,
    Replays,
    excess,
    preference,
    random_read_point,
    strategies,
)

LIMITED = range(0, 60, 3)  # as drawn: some have limits, some two masks
WIDE = [(2, 404), (2, 407), (2, 410), (3, 413), (3, 419), (3, 426), (3, 435), (3, 479), (3, 490)]
ONCE_WRONG = [(3, 455), (3, 461)]  # a tightened node was taken to bound what it had dropped
ROUTES = (Tuning(), BY_BOUNDS, Tuning(tied=-1), BY_GUARDS)
BEYOND_BRUTE_FORCE = [(1, 113), (1, 128), (2, 204)]


def wide(size: int, seed: int) -> ReadPoint:
    """A drawn read point with no limits and one mask at most: its frontier has several points."""
    point = random_read_point(seed, size)
    slots = min(1, point.policy.reader.mask_slots)
    reader = replace(point.policy.reader, mask_slots=slots)
    return replace(point, policy=replace(point.policy, limits=Limits(), reader=reader))


def by_brute_force(read_point: ReadPoint) -> dict[Point, tuple[Any, ...]]:
    """The least work to install at each non-dominated (missed, stray) that keeps the limits."""
    policy, replays = read_point.policy, Replays(read_point)
    reached: dict[Point, list[Strategy]] = defaultdict(list)
    for strategy in strategies(read_point):
        outcome = replays.outcome(strategy)
        if excess(outcome, policy) == 0:
            reached[outcome.missed, outcome.stray].append(strategy)
    return {
        point: min(
            preference(one, replays.outcome(one), read_point, replays)[2:] for one in of_point
        )
        for point, of_point in reached.items()
        if not any(m <= point[0] and s <= point[1] and (m, s) != point for m, s in reached)
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


def assert_like_brute_force(read_point: ReadPoint) -> None:
    expected = by_brute_force(read_point)
    for route in ROUTES:
        found = sweep(Parts.of(pose(read_point.survey, read_point.policy, route)), Clock())
        assert_equal(found, read_point, expected)


def assert_equal(
    found: Sweep, read_point: ReadPoint, expected: dict[Point, tuple[Any, ...]]
) -> None:
    levels = [float(level) for level in read_point.survey.levels_dbm]
    work = {}
    for point in found.staircase.points:
        answer = found.staircase.answer(point)
        guarded, masks, cutoff, steps, *_, bits = answer.key[2:]
        ladder = tuple(levels[i] for i in reversed(answer.levels))
        work[point] = (guarded, masks, cutoff, steps, ladder, bits)
    assert work == expected
    assert found.open == ()
    assert found.stray_bounds == {point: point[1] for point in expected}
    assert found.missed_bounds == {point: point[0] for point in expected}


@pytest.mark.parametrize("seed", LIMITED)
def test_small_frontiers_equal_brute_force(seed: int) -> None:
    assert_like_brute_force(random_read_point(seed, 0))


@pytest.mark.parametrize(("size", "seed"), [*WIDE, *ONCE_WRONG])
def test_wide_frontiers_equal_brute_force(size: int, seed: int) -> None:
    assert_like_brute_force(wide(size, seed))


@pytest.mark.parametrize(("size", "seed"), BEYOND_BRUTE_FORCE)
def test_frontiers_equal_the_search_under_limits(size: int, seed: int) -> None:
    read_point = random_read_point(seed, size)
    problem = pose(read_point.survey, read_point.policy)
    expected = by_limits(problem)
    assert len(expected) > 2
    for route in ROUTES:
        assert sweep(Parts.of(replace(problem, tuning=route)), Clock()).staircase.points == expected


def test_the_frontiers_are_not_all_alike() -> None:
    """Otherwise the equality says little: points that no weights find, limits, silent levels."""
    limited = [random_read_point(seed, 0) for seed in LIMITED]
    points = [wide(size, seed) for size, seed in WIDE]
    found = [
        sweep(Parts.of(pose(point.survey, point.policy)), Clock()).staircase for point in points
    ]
    assert sum(len(one.ratios()) < len(one.points) for one in found) >= 7
    assert max(len(one.points) for one in found) >= 8
    assert sum(point.policy.stop_after > 1 for point in points) >= 4
    assert sum(point.policy.limits != Limits() for point in limited) >= 5
    assert sum(_falls_silent(pose(point.survey, point.policy)) for point in points) >= 4


def _falls_silent(problem: Problem) -> bool:
    """Whether some tag that was read at a level is not read at a higher one."""
    read = np.isfinite(problem.profile.rssi)
    return bool((read[:, :-1] & ~read[:, 1:]).any())


def test_ratios_are_those_of_least_loss() -> None:
    """By trying: a point has the least loss for the ratios in its range, and for no others."""
    read_point = wide(3, 479)
    staircase = sweep(Parts.of(pose(read_point.survey, read_point.policy)), Clock()).staircase
    ranges = staircase.ratios()
    assert 1 < len(ranges) < len(staircase.points)
    for ratio in [Fraction(n, 12) for n in range(1, 300)]:
        loss = {point: ratio * point[0] + point[1] for point in staircase.points}
        best = {point for point in loss if loss[point] == min(loss.values())}
        inside = {
            point
            for point, (low, high) in ranges.items()
            if low <= ratio and (high is None or ratio <= high)
        }
        assert best == inside


@pytest.mark.parametrize(("size", "seed"), [*WIDE, *ONCE_WRONG, *BEYOND_BRUTE_FORCE])
def test_what_is_best_for_some_ratios_is_that_of_the_whole(size: int, seed: int) -> None:
    """Within a range of ratios: the same points, the same strategies, however they are found."""
    read_point = wide(size, seed)
    problem = pose(read_point.survey, read_point.policy)
    whole = sweep(Parts.of(problem), Clock()).staircase
    ranges = whole.ratios()
    for low, high in (
        (Fraction(1, 9), Fraction(9)),
        (Fraction(1, 2), Fraction(2)),
        (Fraction(3),) * 2,
    ):
        best = {
            point: whole.answer(point).key[2:]
            for point, (least, most) in ranges.items()
            if least <= high and (most is None or most >= low)
        }
        for route in ROUTES:
            found = sweep(Parts.of(replace(problem, tuning=route)), Clock(), ratios=(low, high))
            staircase = found.staircase
            assert {p: staircase.answer(p).key[2:] for p in staircase.points} == best
            assert found.open == ()


@pytest.mark.parametrize(("size", "seed"), [(2, 406), (3, 426)])
def test_a_stopped_sweep_says_no_more_than_it_knows(size: int, seed: int) -> None:
    """Cut short at any place, what it calls open holds every point of the whole that it lacks, and
    a point whose bounds are its own counts is one of the whole."""
    read_point = wide(size, seed)
    policy = replace(read_point.policy, serial_masks=False)  # few masks: points proven one by one
    problem = pose(read_point.survey, policy)
    whole = sweep(Parts.of(problem), Clock()).staircase.points
    stopped = mixed = 0
    for looks, route in itertools.product(range(1, 600, 9), ROUTES):
        found = sweep(Parts.of(replace(problem, tuning=route)), counted_clock(looks))
        for point in whole:
            known = point in found.staircase.points
            assert known or any(m >= point[0] and s >= point[1] for m, s in found.open)
        for (missed, stray), bound in found.stray_bounds.items():
            assert bound <= min((s for m, s in whole if m <= missed), default=stray)
        for (missed, stray), bound in found.missed_bounds.items():
            assert bound <= min((m for m, s in whole if s <= stray), default=missed)
        bounds = found.missed_bounds, found.stray_bounds
        proven = {p for p in found.staircase.points if tuple(b[p] for b in bounds) == p}
        assert proven <= set(whole)
        stopped += bool(found.open)
        mixed += 0 < len(proven) < len(found.staircase.points)
    assert stopped > 3 and mixed


def test_the_effort_that_is_told_counts_the_branches_worked_on() -> None:
    worked = 0
    tighten = Node.tighten

    def counted(self: Node, target: float) -> None:
        nonlocal worked
        worked += 1
        tighten(self, target)

    for size, seed in WIDE[:3]:
        read_point = wide(size, seed)
        problem = pose(read_point.survey, read_point.policy, BY_BOUNDS)
        with patch.object(Node, "tighten", counted):
            found = sweep(Parts.of(problem), Clock())
        assert dict(found.effort)["branches"] == worked > 0
        worked = 0
