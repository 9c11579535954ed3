"""What the search does where it cannot list what its bounds leave."""

from __future__ import annotations

from dataclasses import replace
from unittest.mock import patch

import pytest

from strategist.answers.assessment import choose
from strategist.answers.solution import Options
from strategist.optimise.clock import Clock
from strategist.optimise.node import Node
from strategist.optimise.problem import pose
from strategist.optimise.search import BestFirst, Search, search
from strategist.survey.policy import Limits
from tests.optimise.counted import counted_clock
from tests.optimise.made import BY_BOUNDS, random_read_point

SEEDS = [seed for seed in range(40) if random_read_point(seed, 1).policy.reader.mask_slots > 1][:6]


ROOM_FOR_ONE_CHAIN = replace(BY_BOUNDS, left_max=1)


@pytest.mark.parametrize("seed", SEEDS)
def test_chains_that_cannot_be_looked_at_are_never_dropped(seed: int) -> None:
    """With room for one chain the bound is true, the answer a strategy, and the model closes it."""
    read_point = random_read_point(seed, 1)
    problem = pose(read_point.survey, read_point.policy)
    right = search(problem, Clock())
    answer = search(replace(problem, tuning=ROOM_FOR_ONE_CHAIN), Clock())
    result = choose(read_point, Options(unseen=False, tuning=ROOM_FOR_ONE_CHAIN))
    assert answer.bound <= right.key[:2] <= answer.key[:2]
    if answer.proven:
        assert answer.guarded_bound <= right.key[2] <= answer.key[2]
    assert result.loss == result.bound == right.key[1]


def test_some_of_them_stay_open() -> None:
    ended = 0
    for seed in SEEDS:
        read_point = random_read_point(seed, 1)
        problem = pose(read_point.survey, read_point.policy, ROOM_FOR_ONE_CHAIN)
        ended += not search(problem, Clock()).proven
    assert ended


def test_a_clock_that_stops_the_second_goal_is_said() -> None:
    """The loss stays proven; the guarded loss has a bound that does not lie, and a warning."""
    find = Search.find_guarded

    def too_late(self: Search) -> float | None:
        self.tree.clock = Clock(0.0)
        return find(self)

    weaker = 0
    for seed in SEEDS:
        read_point = random_read_point(seed, 1)
        right = choose(read_point, Options(unseen=False))
        with patch.object(Search, "find_guarded", too_late):
            stopped = choose(read_point, Options(unseen=False))
        assert (stopped.status, stopped.loss) == (right.status, right.loss)
        least, found = right.standing.guarded.loss, stopped.standing.guarded.loss
        assert stopped.proof["guarded_bound"] <= least <= found
        said = any("guarded loss is not" in warning for warning in stopped.warnings)
        assert said == (stopped.proof["guarded_bound"] < found)
        weaker += said
    assert weaker


def test_the_effort_that_is_told_counts_the_branches_worked_on() -> None:
    worked: list[Node] = []
    total, work_on = 0, BestFirst.work_on

    def counted(self: BestFirst, node: Node, stage: int) -> None:
        worked.append(node)
        work_on(self, node, stage)

    for seed in SEEDS:
        read_point = random_read_point(seed, 1)
        problem = pose(read_point.survey, read_point.policy, BY_BOUNDS)
        with patch.object(BestFirst, "work_on", counted):
            answer = search(problem, Clock())
        assert dict(answer.effort)["branches"] == len(worked)
        total += len(worked)
        worked.clear()
    assert total > 0


def test_a_search_stopped_at_once_claims_nothing() -> None:
    """Where nothing need be lost, no bound is above nothing, wherever the clock stops."""
    lossless = 0
    for seed in range(80):
        point = random_read_point(seed, 0)
        problem = pose(point.survey, replace(point.policy, limits=Limits()))
        if search(problem, Clock()).key[1] > 0:
            continue
        lossless += 1
        for looks in range(8):
            assert search(problem, counted_clock(looks)).bound <= (0.0, 0.0)
    assert lossless >= 3
