"""The staircase that keeps to what is best for some ratios, against all points of a grid."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from strategist.optimise.clock import Clock
from strategist.optimise.front import Front, Point, Ratios, Staircase
from strategist.optimise.kernel import bounds_of
from strategist.optimise.measures import Aim, Measure
from strategist.optimise.problem import Answer, Chain, Counts, Literal, Problem, pose
from strategist.optimise.tree import Tree
from strategist.optimise.tuning import Tuning
from strategist.survey.records import Bools, Floats
from tests.optimise.made import random_read_point

MOST = (11, 13)
RANGES = (
    (Fraction(1, 4), Fraction(4)),
    (Fraction(2, 3), Fraction(5, 2)),
    (Fraction(3, 2), Fraction(3, 2)),
    (Fraction(1, 100), Fraction(100)),
)
GRID = list(itertools.product(range(MOST[0] + 3), range(MOST[1] + 3)))


def answer(point: Point) -> Answer:
    return Answer((0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0), Chain(), 0, (0,), Counts(*point))


def directions(points: list[Point], ratios: Ratios) -> list[Fraction]:
    """All ratios at which what is best can change, and what lies between any two of them."""
    between = {
        Fraction(q[1] - p[1], p[0] - q[0])
        for p, q in itertools.permutations(points, 2)
        if p[0] > q[0] and q[1] > p[1]
    }
    turns = sorted({r for r in between if ratios[0] < r < ratios[1]} | {*ratios})
    return turns + [(low + high) / 2 for low, high in itertools.pairwise(turns)]


def best(points: list[Point], ratios: Ratios) -> set[Point]:
    """The points of least r × missed + stray for some ratio r of a range."""
    found: set[Point] = set()
    for ratio in directions(points, ratios):
        value = {point: ratio * point[0] + point[1] for point in points}
        found |= {point for point in points if value[point] == min(value.values())}
    return found


@pytest.mark.parametrize("seed", range(24))
def test_what_is_best_for_some_ratio_is_kept_and_what_could_be_is_within_reach(seed: int) -> None:
    rng, ratios = np.random.default_rng(seed), RANGES[seed % len(RANGES)]
    staircase, offered = Staircase(MOST, ratios), list[Point]()
    for point in rng.integers(seed % 5, (14, 16), (12, 2)).tolist():
        staircase.offer(answer((point[0], point[1])))
        if point[0] <= MOST[0] and point[1] <= MOST[1]:
            offered.append((point[0], point[1]))
    assert set(staircase.points) == best(offered, ratios)
    extremes = staircase.open_to()
    assert len(extremes) == len(staircase.corners())
    excluded = staircase.excludes(np.array(GRID))
    for point, out in zip(GRID, excluded.tolist(), strict=True):
        joins = point in best([*offered, point], ratios)
        assert joins != out
        if joins and max(np.subtract(point, MOST)) <= 0:
            assert any(within(point, corner) for corner in extremes)


def within(point: Point, extremes: Floats) -> bool:
    """Whether bounds by any weights leave room for a point."""
    weights = np.array([(1, 0), (0, 1), (1, 1), (1, 3), (3, 1), (2, 5), (7, 2)])
    return bool((weights @ point <= (weights @ extremes.T).max(axis=1) + 1e-9).all())


def test_a_corner_is_cut_off_by_the_line_between_its_points() -> None:
    staircase = Staircase((20, 20), (Fraction(1, 2), Fraction(2)))
    for point in ((3, 9), (9, 3)):
        staircase.offer(answer(point))
    left, middle, right, *found = staircase.open_to().tolist()
    assert left == [[2, 11], [0, 15]]  # 2 m + s = 15
    assert middle == [[8, 4], [4, 8]]  # m + s = 12
    assert right == [[15, 0], [11, 2]]  # m + 2 s = 15
    assert found == [[[3, 9]] * 2, [[9, 3]] * 2]


def test_without_ratios_nothing_is_cut_off() -> None:
    staircase = Staircase((20, 20))
    for point in ((3, 9), (6, 8), (9, 3)):
        staircase.offer(answer(point))
    corners = [(2, 20), (5, 8), (8, 7), (20, 2), (3, 9), (6, 8), (9, 3)]
    assert staircase.corners() == corners
    assert staircase.open_to().tolist() == [[[*map(float, corner)]] for corner in corners]


def test_what_ties_may_have_the_guarded_loss_found_and_with_more_work_less() -> None:
    staircase = Staircase((20, 20))
    for point, guarded, masks in (((3, 9), 40.0, 1.0), ((9, 3), 0.0, 0.0), ((6, 6), 7.5, 0.0)):
        work = (masks, 1.0, 2.0, 5.0, 3.0, 8.0 * masks)
        one = answer(point)
        staircase.offer(replace(one, key=(0.0, 0.0, guarded, *work)))
    between = [np.inf] * 4
    assert staircase.guarded().tolist() == [*between, 40, 0, 7.5]
    assert staircase.guarded(0.0, 0.0).tolist() == [*between, 40, 0, 7.5]
    few, more = staircase.guarded(0.0, 1.0, 1.0, 2.0), staircase.guarded(0.0, 1.0, 1.0, 3.0)
    assert staircase.open_to(0.0, 1.0, 1.0, 2.0)[4:, 0].tolist() == [[3, 9], [6, 6]]
    assert few[:5].tolist() == [*between, 40]
    for least, guarded in ((few[5], 7.5), (more[4], 40), (more[5], 7.5)):
        assert guarded - 2e-6 < least < guarded - 1e-6  # what losses are compared to, and less


@pytest.mark.parametrize("first", [0, 1])
def test_of_equal_strategies_the_chain_of_the_first_masks_is_kept(first: int) -> None:
    chains = [Chain((Literal(number, negate=False),)) for number in (2, 1)]
    staircase = Staircase(MOST)
    for chain in (chains[first], chains[1 - first]):
        staircase.offer(replace(answer((3, 3)), chain=chain))
    assert staircase.answer((3, 3)).chain == chains[1]


@pytest.mark.parametrize("seed", range(12))
def test_no_strategy_under_a_node_has_a_guarded_loss_below_the_bound(seed: int) -> None:
    """Of all ladders of a selection, under all cutoffs with the outcome of the node's."""
    point = random_read_point(seed, 1)
    problem = pose(point.survey, point.policy, Tuning(tied=-1))
    tree = Tree(problem, Clock())
    front = Front(tree.layout, Staircase(MOST), problem.policy.loss, best_only=False)
    guarded, through = problem.under_guard(), tree.chains.listed(0).unpack(slice(None))
    for cutoff in problem.outcomes.tolist():
        root = tree.node(cutoff, Aim(Measure(1.0, 1.0), 0.0, excess=False, step=1.0))
        front.towards(root, np.inf)
        _, _, _, cells = front.tables(front.ladders(root))
        state, stop_after = through.astype(np.int64), problem.policy.stop_after
        bound = bounds_of(state, cells, stop_after, problem.steps_max, root.must, np.inf)
        least = min(
            guarded.loss(guarded.replay(levels, alike, through[0]))
            for alike in problem.alike(cutoff)
            for levels in ladders(problem, root.must)
        )
        assert 0 <= bound[0] <= least + 1e-6


def ladders(problem: Problem, must: Bools) -> Iterator[tuple[int, ...]]:
    levels = range(len(must))
    for steps in range(1, problem.steps_max + 1):
        for some in itertools.combinations(levels, steps):
            if all(level in some for level in np.flatnonzero(must).tolist()):
                yield some
