"""Walks to better strategies: never worse, among what may be set, and to the least where a whole
small set can be tried."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from strategist.answers import nearby
from strategist.answers.nearby import Nearby
from strategist.optimise.installable import installable
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Limits, Loss, Policy, Reader
from strategist.survey.profile import peaks
from strategist.survey.records import ReadPoint
from strategist.tags.mask import Mask
from tests.bench.drawn import drawn_read_point
from tests.optimise.made import survey_of


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


def neighbours(start: Strategy, slots: int = 3, rssi_step: float | None = None) -> list[Strategy]:
    """At levels from 20 to 25 dBm, but not 24, in steps of 1 dB."""
    survey = survey_of([20.0, 21.0, 22.0, 23.0, 24.0, 25.0], [[("3001", True, [-60.0] * 6)]])
    policy = Policy(reader=Reader(ladder_steps_max=slots, rssi_step_db=rssi_step))
    return list(Nearby(survey, policy, survey.levels_dbm != 24.0)._neighbours(start))


def test_neighbours_move_a_step_by_a_level_or_two_or_leave_it_out_or_add_one() -> None:
    """Levels that may be chosen are next to each other; no step is taken twice."""
    mask = Mask("epc", 32, 8, "30")
    found = neighbours(Strategy((21.0, 23.0), 2, None, (mask,)))
    moved = [(22, 23), (20, 23), (23,), (21, 25), (21, 22), (21,)]
    added = [(20, 21, 23), (21, 22, 23), (21, 23, 25)]
    assert [one.levels_dbm for one in found] == [*moved, *added]
    assert {(one.stop_after, one.cutoff_dbm, one.masks) for one in found} == {(2, None, (mask,))}
    full = neighbours(Strategy((21.0, 23.0)), 2)
    assert [one.levels_dbm for one in full] == moved
    alone = neighbours(Strategy((20.0,)))
    assert [one.levels_dbm for one in alone] == [(21,), (22,)]


@pytest.mark.parametrize(
    ("cutoff", "rssi_step", "moved"),
    [
        (-60.0, None, [-59.5, -59, -58, -60.5, -61, -62]),
        (-60.0, 1.0, [-59, -58, -56, -61, -62, -64]),
        (-0.5, None, [0, -1, -1.5, -2.5]),
        (-119.5, None, [-119, -118.5, -117.5, -120]),
    ],
)
def test_neighbours_move_the_cutoff_by_what_can_be_set_or_leave_it_out(
    cutoff: float, rssi_step: float | None, moved: list[float]
) -> None:
    found = neighbours(Strategy((20.0,), 1, cutoff), 3, rssi_step)
    assert [one.cutoff_dbm for one in found] == [cutoff, cutoff, *moved, None]
    assert {one.levels_dbm for one in found[2:]} == {(20.0,)}


def test_a_value_is_the_mean_excess_of_draws_and_then_the_mean_loss() -> None:
    """Two wanted tags and a stray in one pass: both found and the stray reported, in three of four
    presentations; in the last a wanted tag is missed. Of two draws the second misses a quarter."""
    tags = [("3001", True, [-60.0]), ("3002", True, [-60.0]), ("3501", False, [-60.0])]
    survey = survey_of([20.0], [tags])  # type: ignore[arg-type]
    heard = np.repeat(peaks(survey)[None], 4, axis=0)
    heard[3, 1] = -np.inf
    policy = Policy(loss=Loss(5.0, 2.0), limits=Limits(0.05, 0.5))
    near = Nearby(survey, policy, np.ones(1, bool))
    every = Strategy((20.0,), 9)
    together, apart = near.value(every, heard, 1), near.value(every, heard, 2)
    assert together == pytest.approx(((0.125 - 0.05) + 0.5, (4 * 2 + 5) / 4))
    assert apart == pytest.approx(((0.25 - 0.05) / 2 + 0.5, (4 * 2 + 5) / 4))
    assert near.value(replace(every, cutoff_dbm=-50.0), heard, 2) == pytest.approx((0.95, 10.0))


def test_a_walk_of_so_many_steps_at_most(monkeypatch: pytest.MonkeyPatch) -> None:
    """One tag more is read at each level from 20 to 25 dBm: up by one each time."""
    curves: list[list[float | None]] = [[None] * n + [-60.0] * (6 - n) for n in range(6)]
    tags = [(f"300{n}", True, curve) for n, curve in enumerate(curves)]
    survey = survey_of([20.0, 21.0, 22.0, 23.0, 24.0, 25.0], [tags])
    policy = Policy(reader=Reader(ladder_steps_max=1))
    near, heard = Nearby(survey, policy, np.ones(6, bool)), peaks(survey)[None]
    for steps, end in ((0, 20.0), (1, 21.0), (2, 22.0), (4, 24.0), (9, 25.0)):
        monkeypatch.setattr(nearby, "WALK_MAX", steps)
        assert near.walk(Strategy((20.0,), 9), heard).levels_dbm == (end,)
