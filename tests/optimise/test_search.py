"""What the search does where it cannot list what its bounds leave."""

from __future__ import annotations

from unittest.mock import patch

import pytest

from strategist.choose import choose
from strategist.decide import Options
from strategist.optimise.clock import Clock
from strategist.optimise.problem import pose
from strategist.optimise.search import Search, search
from strategist.optimise.selections import TooManySelectionsError
from tests.optimise.made import by_bounds, random_read_point

SEEDS = [seed for seed in range(40) if random_read_point(seed, 1).policy.reader.mask_slots > 1][:6]


@pytest.mark.parametrize("seed", SEEDS)
def test_chains_that_cannot_be_listed_are_never_dropped(seed: int) -> None:
    """With room for one chain, the search says so or proves by bounds; the answer is kept."""
    read_point = random_read_point(seed, 1)
    right = search(pose(read_point.survey, read_point.policy), Clock())
    with by_bounds(), patch("strategist.optimise.chains._LEFT_MAX", 1):
        try:
            answer = search(pose(read_point.survey, read_point.policy), Clock())
        except TooManySelectionsError:
            pass
        else:
            assert answer.key[:2] == right.key[:2]
            assert answer.guarded_bound <= right.key[2] <= answer.key[2]
        result = choose(read_point, Options(unseen=False))
    assert result.loss == right.key[1]


def test_a_clock_that_stops_the_second_goal_is_said() -> None:
    """The loss stays proven; the guarded loss has a bound that does not lie, and a warning."""
    find = Search.find_guarded

    def too_late(self: Search) -> float | None:
        self.clock = Clock(0.0)
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


def test_some_of_them_do_end_in_the_error() -> None:
    ended = 0
    with by_bounds(), patch("strategist.optimise.chains._LEFT_MAX", 1):
        for seed in SEEDS:
            read_point = random_read_point(seed, 1)
            try:
                search(pose(read_point.survey, read_point.policy), Clock())
            except TooManySelectionsError:
                ended += 1
    assert ended
