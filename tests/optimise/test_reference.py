"""The search against the straightforward joint model, which reads the survey and reduces nothing.

The reference (`tests/bench/reference.py`) shares the list of candidate masks with the optimiser and
nothing else. HiGHS proves its optimum in each case; no seed was left out.
"""

from __future__ import annotations

import numpy as np
import pytest

from strategist.optimise.clock import Clock
from strategist.optimise.problem import pose
from strategist.optimise.search import search
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import evaluate
from tests.bench.measure import Size
from tests.bench.reference import Reference
from tests.bench.solvers import least_by_highs
from tests.optimise.made import BY_BOUNDS, excess, hurried_read_point, random_read_point

CASES = [
    (size, seed)
    for size, seeds in ((0, range(1000, 1160)), (1, range(1000, 1130)), (2, range(1000, 1090)))
    for seed in seeds
]
ORDINARY = [
    Size(6, 5, 3, kinds=3, rssi_values=7, steps=2, slots=2),
    Size(6, 5, 3, kinds=3, rssi_values=7, steps=2, slots=2, seed=1),
    Size(8, 6, 3, kinds=4, rssi_values=5, steps=3, slots=2, stop_after=2),
    Size(8, 6, 3, kinds=4, rssi_values=5, steps=3, slots=2, stop_after=2, seed=1),
    Size(10, 5, 4, kinds=4, rssi_values=5, steps=2, slots=1),
    Size(12, 6, 3, kinds=6, rssi_values=8, steps=3, slots=1),
    Size(8, 5, 3, kinds=4, rssi_values=4, steps=2, slots=3),
    Size(12, 6, 3, kinds=6, rssi_values=8, steps=3, slots=2),
]


def assert_like_the_reference(read_point: ReadPoint) -> None:
    survey, policy = read_point.survey, read_point.policy
    answer = search(pose(survey, policy), Clock())
    assert answer.proven
    assert search(pose(survey, policy, BY_BOUNDS), Clock()).key == answer.key
    reference = Reference(read_point)
    least = least_by_highs(reference)
    assert answer.key[:2] == pytest.approx(least, abs=1e-5)
    outcome = evaluate(survey, policy, reference.strategy())
    assert (excess(outcome, policy), outcome.loss) == pytest.approx(least, abs=1e-5)


@pytest.mark.parametrize(("size", "seed"), CASES)
def test_random_read_points(size: int, seed: int) -> None:
    assert_like_the_reference(random_read_point(seed, size))


@pytest.mark.parametrize(
    ("size", "seed"), [*((0, seed) for seed in range(2000, 2020)), (1, 26), (1, 72), (1, 115)]
)
def test_random_read_points_short_of_time(size: int, seed: int) -> None:
    assert_like_the_reference(hurried_read_point(seed, size))


@pytest.mark.parametrize("size", ORDINARY, ids=str)
def test_read_points_like_those_surveyed(size: Size) -> None:
    assert_like_the_reference(size.read_point())


def test_the_random_read_points_are_many_and_not_all_alike() -> None:
    points = [random_read_point(seed, size) for size, seed in CASES]
    policies = [point.policy for point in points]
    assert len(CASES) >= 300
    assert sum(_falls_silent(point) for point in points) >= 150
    assert sum(policy.limits.missed_rate_max is not None for policy in policies) >= 50
    assert sum(policy.limits.stray_rate_max is not None for policy in policies) >= 50
    assert sum(policy.stop_after > 1 for policy in policies) >= 100
    assert sum(policy.reader.ladder_steps_max > 1 for policy in policies) >= 150
    assert sum(pose(point.survey, point.policy).slots > 1 for point in points) >= 80
    assert sum("power" not in policy.allow for policy in policies) >= 40


def _falls_silent(point: ReadPoint) -> bool:
    """Whether some tag that was read at a level is not read at a higher one of its pass."""
    survey = point.survey
    read = np.zeros((len(survey.pass_ids), len(survey.tags), len(survey.levels_dbm)), bool)
    read[survey.read_pass, survey.read_tag, survey.read_level] = True
    return bool((read[..., :-1] & ~read[..., 1:]).any())
