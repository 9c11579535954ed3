"""Walks to better strategies: never worse, among what may be set, and to the least where a whole
small set can be tried."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from strategist.answers.nearby import Nearby
from strategist.optimise.installable import installable
from strategist.optimise.strategy import Strategy
from strategist.survey.profile import peaks
from strategist.survey.records import ReadPoint
from tests.bench.drawn import drawn_read_point


@pytest.fixture(scope="module")
def point() -> ReadPoint:
    return drawn_read_point("sorting-belt", 20, 8)


@pytest.mark.parametrize(
    "start", [Strategy((10.0,), cutoff_dbm=-60.0), Strategy((12.0, 13.0, 30.0), 1, -40.5)]
)
def test_a_walk_ends_where_no_neighbour_is_better(point: ReadPoint, start: Strategy) -> None:
    survey, policy = point.survey, point.policy
    near = Nearby(survey, policy, np.ones(len(survey.levels_dbm), bool))
    heard = peaks(survey)[None]
    end = near.walk(start, heard)
    assert near.value(end, heard) < near.value(start, heard)
    assert installable(end, policy, survey)
    assert near.walk(end, heard) == end


def test_where_there_is_one_level_the_cutoff_is_the_best(point: ReadPoint) -> None:
    """Level by level: against every level two away and nearer, and every cutoff."""
    survey, policy = point.survey, point.policy
    near = Nearby(survey, policy, survey.levels_dbm == 25.0)
    heard = peaks(survey)[None]
    end = near.walk(Strategy((25.0,), cutoff_dbm=-50.0), heard)
    every = itertools.chain([None], np.arange(-70.0, -39.5, 0.5).tolist())
    least = min(near.value(Strategy((25.0,), cutoff_dbm=one), heard) for one in every)
    assert near.value(end, heard)[1] <= least[1] + policy.loss.missed
