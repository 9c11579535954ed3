"""Bounds of a node are never above what its strategies reach, whatever the multipliers."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from strategist.optimise.cells import Layout
from strategist.optimise.clock import Clock
from strategist.optimise.kernel import (
    IN,
    OPEN,
    OUT,
    bounds_of,
    fix_by_probing,
    ladder_bound,
    penalties_of,
    subgradient_of,
)
from strategist.optimise.measures import Aim, Measure, aim_at, measures, spacing
from strategist.optimise.node import Node
from strategist.optimise.problem import Problem, pose
from strategist.survey.records import Bools, Floats
from tests.optimise.made import random_read_point


def problem_of(seed: int) -> Problem:
    read_point = random_read_point(seed, size=1 + seed % 2)
    return pose(read_point.survey, read_point.policy)


def node_of(problem: Problem, rng: np.random.Generator) -> Node:
    """A node under a random cutoff, with some levels left out and some that must be steps."""
    cutoff = int(rng.integers(len(problem.thresholds)))
    levels = np.flatnonzero(rng.random(len(problem.profile.levels_dbm)) < 0.8)
    if not len(levels):
        levels = np.array([0])
    must = np.zeros(len(levels), bool)
    if rng.random() < 0.6:
        must[rng.integers(len(levels))] = True
    aim = aim_at(measures(problem), 0.0)
    return Node(Layout(problem), aim, cutoff, levels, must, clock=Clock())


def ladders_of(node: Node, steps_max: int) -> list[tuple[int, ...]]:
    places = range(len(node.levels))
    every = itertools.chain(*(itertools.combinations(places, n + 1) for n in range(steps_max)))
    needed = set(np.flatnonzero(node.must).tolist())
    return [tuple(node.levels[list(x)].tolist()) for x in every if needed <= set(x)]


def least(problem: Problem, node: Node, through: Bools) -> float:
    """The least loss of the node's ladders, by replaying each of them."""
    ladders = ladders_of(node, problem.steps_max)
    replayed = (problem.loss(problem.replay(x, node.cutoff, through)) for x in ladders)
    return min(replayed, default=np.inf)


def test_bounds_of_several_cutoffs_hold_for_each_of_them() -> None:
    """Of selections, and of the node; some are what one of the cutoffs comes to."""
    close = 0
    for seed in range(40):
        problem, rng = problem_of(seed), np.random.default_rng(seed)
        node, policy = node_of(problem, rng), problem.policy
        low, high = np.sort(rng.integers(len(problem.thresholds), size=2)).tolist()
        through = rng.random((6, problem.profile.classes)) < 0.6
        cells = node.layout.cells(low, node.levels, measures(problem)[0], high)
        asked = cells, policy.stop_after, problem.steps_max, node.must, np.inf
        bounds = bounds_of(through.astype(np.int64), *asked)
        node.cutoff, node.highest = low, high
        node.raise_bound(least(problem, node, through[0]))
        for cutoff in range(low, high + 1):
            node.cutoff = cutoff
            losses = np.array([least(problem, node, own) for own in through])
            assert (np.maximum(bounds, node.bound) <= losses + 1e-9).all()
            close += int((losses - bounds < 1e-9).any() and high > low)
    assert close > 10, "or the bounds say little"


@pytest.mark.parametrize("seed", range(60))
def test_no_bound_is_above_what_is_reached(seed: int) -> None:
    """For random multipliers: the bound of the node, linear bounds and bounds of ladders."""
    problem, rng = problem_of(seed), np.random.default_rng(seed)
    node = node_of(problem, rng)
    classes = problem.profile.classes
    node.state = rng.choice([OPEN, OPEN, OPEN, IN, OUT], classes)
    reached = {}
    for _ in range(12):
        through = rng.random(classes) < 0.6
        through[node.state == IN], through[node.state == OUT] = True, False
        reached[through.tobytes()] = (through, least(problem, node, through))
    stop_after = problem.policy.stop_after
    for through, loss in reached.values():
        state = through.astype(np.int64)[None, :]
        ladders = bounds_of(state, node.cells, stop_after, problem.steps_max, node.must, np.inf)
        assert ladders[0] <= loss + 1e-6
    for _ in range(4):
        node.multiplier = rng.normal(0, 2, len(node.layout.klass))
        into, out = penalties_of(node.state, node.multiplier, node.cells, stop_after, node.must)
        assert into.min() >= 0 <= out.min()
        for cut in node.penalties():
            for through, loss in reached.values():
                weight, room = cut.room(loss)
                assert through @ weight <= room


@pytest.mark.parametrize("seed", range(100, 130))
def test_tightening_keeps_every_strategy_that_could_win(seed: int) -> None:
    """Selections as good as the target keep to the classes fixed, their ladders to the levels."""
    problem, rng = problem_of(seed), np.random.default_rng(seed)
    node = node_of(problem, rng)
    whole = Node(node.layout, node.aim, node.cutoff, node.levels, node.must, clock=Clock())
    good = []
    for through in itertools.product([False, True], repeat=problem.profile.classes):
        good.append((least(problem, whole, np.array(through)), np.array(through)))
    target = sorted(loss for loss, _ in good)[len(good) // 4]
    if np.isinf(target):
        return
    node.tighten(target)
    for loss, through in good:
        if loss <= target:
            assert node.bound <= loss
            assert through[node.state == IN].all()
            assert not through[node.state == OUT].any()
            assert least(problem, node, through) == loss


def test_a_single_level_is_split_into_the_ladder_with_it() -> None:
    """Without its one level a node has no ladder left: there is no such part."""
    problem = problem_of(0)
    aim = aim_at(measures(problem), 0.0)
    node = Node(Layout(problem), aim, 0, np.array([1]), np.array([False]), clock=Clock())
    (part,) = node.split()
    assert part.levels.tolist() == [1] and part.must.all()
    assert part.split() == []


@pytest.mark.parametrize("seed", range(200, 220))
def test_the_parts_of_a_split_share_out_the_ladders_of_a_branch(seed: int) -> None:
    """Each ladder is in one part and only one, down to nodes of two levels and of one."""
    problem, rng = problem_of(seed), np.random.default_rng(seed)
    waiting = [node_of(problem, rng)]
    while waiting:
        node = waiting.pop()
        parts = node.split()
        if parts:
            shared = [ladder for part in parts for ladder in ladders_of(part, len(node.levels))]
            assert sorted(shared) == sorted(ladders_of(node, len(node.levels)))
        else:
            assert node.must.all()
        waiting += parts


def test_a_bound_is_a_value_that_losses_have() -> None:
    """28 × 0.1 is 2.8000000000000003 in floating point, which would look dearer than 2.8."""
    aim = aim_at((Measure(0.7, 0.1),), 0.0)
    assert [aim.rounded(n / 10) for n in range(1, 500)] == [n / 10 for n in range(1, 500)]


def test_losses_are_multiples_of_the_spacing() -> None:
    assert spacing(Measure(5.0, 1.0)) == 1.0
    assert spacing(Measure(2.5, 1.0)) == 0.5
    assert spacing(Measure(0.3, 0.7)) == pytest.approx(0.1)
    assert spacing(Measure(1 / 3, 1.0)) == 0.0


def test_rounding_up_never_passes_a_value() -> None:
    """A bound a hair above a loss, by floating point, still allows the loss."""
    aim = aim_at((Measure(0.3, 0.7),), 0.0)
    assert aim.rounded(2.1 + 1e-9) <= 2.1 + 1e-12
    assert aim.rounded(2.11) == pytest.approx(2.2)


def test_rounding_up_allows_for_large_sums() -> None:
    """Where sums are large and weights fine, an error of floating point is no step."""
    aim = aim_at((Measure(1000.0001, 0.0003),), 0.0)
    assert aim.step == pytest.approx(1e-4)
    assert aim.rounded(1_000_000.0 + 2e-7) <= 1_000_000.0 + 1e-9


@pytest.mark.parametrize("seed", range(200, 240))
def test_the_subgradient_is_one(seed: int) -> None:
    """The bound is concave in the multipliers, and nowhere above its tangent, along directions
    that add up to zero for each class; on the way it is followed the bound rises somewhere."""
    problem, rng = problem_of(seed), np.random.default_rng(seed)
    node = node_of(problem, rng)
    node.state = rng.choice([OPEN, OPEN, OPEN, IN, OUT], problem.profile.classes)
    klass, size = node.layout.klass, np.maximum(node.layout.size, 1)

    def multiplier() -> Floats:
        drawn = rng.normal(0, 2, len(klass))
        balanced: Floats = drawn - (np.bincount(klass, drawn, len(size)) / size)[klass]
        return balanced

    stop_after, most = problem.policy.stop_after, problem.steps_max
    for _ in range(20):
        here, there = multiplier(), multiplier()
        bound, slope = subgradient_of(node.state, here, node.cells, stop_after, most, node.must)
        other = ladder_bound(node.state, there, node.cells, stop_after, most, node.must)
        assert other <= bound + slope @ (there - here) + 1e-9
        assert bound == pytest.approx(
            ladder_bound(node.state, here, node.cells, stop_after, most, node.must)
        )


def test_raising_raises() -> None:
    """Over many nodes; where nothing is to be gained the bound stays."""
    raised = 0
    for seed in range(100, 160):
        problem, rng = problem_of(seed), np.random.default_rng(seed)
        node = node_of(problem, rng)
        before = node._ladder(node.multiplier)
        node.raise_bound(problem.silence[1])
        assert node.bound >= node.aim.rounded(before)
        raised += node.bound > node.aim.rounded(before)
    assert raised >= 10


@pytest.mark.parametrize("seed", range(40))
def test_probing_fixes_what_a_bound_of_each_try_would(seed: int) -> None:
    """Class after class, out and then in, each time with the bound of the whole node; those that
    come near the limit are left out of the comparison, since sums are added up in another order."""
    problem = problem_of(seed)
    rng = np.random.default_rng(seed)
    node = node_of(problem, rng)
    node.raise_bound(1000.0)
    stop_after, steps_max = problem.policy.stop_after, problem.steps_max
    node.state[rng.random(len(node.state)) < 0.2] = OUT
    node.state[rng.random(len(node.state)) < 0.2] = IN
    rest = (node.multiplier, node.cells, stop_after, steps_max, node.must)
    some, tried = np.flatnonzero(node.state == OPEN), node.state.copy()
    bounds = []
    for k in some:
        for kind in (OUT, IN):
            tried[k] = kind
            bounds.append(ladder_bound(tried, *rest))
            tried[k] = OPEN
    for limit in (*np.quantile(bounds, (0.3, 0.7)) + 1e-7, np.inf) if len(some) else ():
        expected, found = node.state.copy(), node.state.copy()
        for k in some:
            for kind, other in ((OUT, IN), (IN, OUT)):
                expected[k] = kind
                bound = ladder_bound(expected, *rest)
                expected[k] = OPEN
                if bound >= limit:
                    expected[k] = other
                    break
        fixed = fix_by_probing(found, some, *rest, limit)
        assert (found == expected).all()
        assert fixed == (expected != node.state).any()


@pytest.mark.parametrize("step", [1.0, 0.5, 0.0])
@pytest.mark.parametrize("target", [0.0, 7.0, 60.18, 123456.5])
def test_the_least_bound_above_a_target_is_the_first_that_is_rounded_beyond_it(
    step: float, target: float
) -> None:
    aim = Aim(Measure(5.0, 1.0), 3.25, excess=False, step=step)
    least = aim.above(target)
    assert aim.rounded(least) > target
    assert aim.rounded(np.nextafter(least, -np.inf)) <= target
