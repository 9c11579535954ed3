"""The least loss in the worst condition or the worst share of passes, against brute force."""

from __future__ import annotations

import itertools
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from strategist.optimise import conditions
from strategist.optimise.clock import Clock
from strategist.optimise.conditions import (
    ConditionsModel,
    Weighing,
    least_over_conditions,
    master,
    worst_of,
)
from strategist.optimise.problem import pose
from strategist.survey.copies import Sample
from strategist.survey.policy import InConditions, Limits
from strategist.survey.records import Floats, ReadPoint
from tests.optimise.counted import counted_clock
from tests.optimise.made import Replays, random_read_point, strategies
from tests.recorded.points import in_conditions, small
from tests.recorded.test_passes import weighed

SEEDS = range(24)


def weighing_of(point: ReadPoint, seed: int, kind: str) -> Weighing:
    rng = np.random.default_rng(seed)
    passes = len(point.survey.pass_ids)
    of_pass = np.concatenate([np.arange(2), rng.integers(0, 2 + seed % 2, passes)])[:passes]
    of_pass = np.unique(of_pass, return_inverse=True)[1].astype(np.int64)
    times = rng.integers(1, 4, passes)
    share = np.bincount(of_pass, times) / times.sum()
    caps = {"worst": np.ones(len(share)), "cvar": share / 0.4, "mean": share}
    return Weighing(of_pass, times, np.minimum(caps[kind], 1.0))


def losses_of(point: ReadPoint, weighing: Weighing) -> list[tuple[float, Floats]]:
    """Excess over the limits in the conditions, and loss a pass in each, of every strategy."""
    replays, policy, found = Replays(point), point.policy, []
    seen = set()
    for strategy in strategies(point):
        outcome = replays.outcome(strategy)
        if id(outcome) in seen:
            continue
        seen.add(id(outcome))
        losses, excess = [], 0.0
        for c in range(len(weighing.cap)):
            some = [p for p, of in enumerate(weighing.of_pass) if of == c]
            times = {p: int(weighing.times[p]) for p in some}
            parts = [(times[p], outcome.by_pass[p]) for p in some]
            missed = sum(n * len(one.missed) for n, one in parts)
            stray = sum(n * len(one.stray) for n, one in parts)
            wanted = sum(n * one.wanted for n, one in parts)
            passes = sum(times.values())
            losses.append((policy.loss.missed * missed + policy.loss.stray * stray) / passes)
            excess += policy.limits.excess(missed / wanted if wanted else None, stray / passes)
        found.append((round(excess, 6), np.array(losses)))
    return found


def brute_worst(losses: Floats, cap: Floats) -> float:
    """The largest Σ λ L over the corners of {λ ≤ cap, Σ λ = 1}: all but one at 0 or its cap."""
    best = -np.inf
    for order in itertools.permutations(range(len(cap))):
        left, total = 1.0, 0.0
        for c in order:
            take = min(left, cap[c])
            total, left = total + take * losses[c], left - take
        best = max(best, total)
    return best


@pytest.mark.parametrize("kind", ["worst", "cvar", "mean"])
@pytest.mark.parametrize("seed", SEEDS)
def test_value_and_bound_are_those_of_brute_force(seed: int, kind: str) -> None:
    point = random_read_point(seed, 0)
    weighing = weighing_of(point, seed, kind)
    each = Sample(point.survey, np.ones(len(point.survey.pass_ids), np.int64))
    problem = pose(point.survey, point.policy, sample=each)
    found = least_over_conditions(problem, weighing, Clock(None))
    tried = losses_of(point, weighing)
    least = min((excess, brute_worst(losses, weighing.cap)) for excess, losses in tried)
    assert (found.excess, found.value) == pytest.approx(least, abs=2e-5)
    if least[0] == 0:
        assert found.proven
        assert found.bound <= least[1] + 1e-6
    else:
        assert found.infeasible


def test_worst_is_no_less_than_cvar_nor_that_than_the_mean() -> None:
    rng = np.random.default_rng(1)
    for _ in range(50):
        losses, share = rng.random(4), rng.dirichlet(np.ones(4))
        worst = worst_of(losses, np.ones(4))[0]
        tail, mean = (worst_of(losses, np.minimum(share / t, 1))[0] for t in (0.3, 1.0))
        assert worst + 1e-12 >= tail >= mean - 1e-12
        assert worst == losses.max()
        assert mean == pytest.approx(losses @ share)


def test_master_weighs_what_is_worst_for_the_best() -> None:
    """Two strategies, each good in one condition: even weights, and what both then come to."""
    weight, theta = master(np.array([[0.0, 4.0], [4.0, 0.0]]), np.ones(2))
    assert weight.tolist() == pytest.approx([0.5, 0.5])
    assert theta == pytest.approx(2.0)
    capped, theta = master(np.array([[0.0, 4.0], [4.0, 0.0]]), np.array([1.0, 0.25]))
    assert capped.tolist() == pytest.approx([0.75, 0.25])
    assert theta == pytest.approx(1.0)


@pytest.mark.parametrize("seed", [2, 3, 5, 8, 13, 21])
def test_stopped_anywhere_it_claims_no_more_than_it_knows(seed: int) -> None:
    """No bound above the least value, proven only where the two meet; and what silence comes to."""
    point = random_read_point(seed, 0)
    weighing = weighing_of(point, seed, "worst")
    each = Sample(point.survey, np.ones(len(point.survey.pass_ids), np.int64))
    problem = pose(point.survey, point.policy, sample=each)
    tried = losses_of(point, weighing)
    least = min((excess, brute_worst(losses, weighing.cap)) for excess, losses in tried)
    proofs = []
    for looks in (0, 3, 10, 30, 100, 1000, 10_000):
        found = least_over_conditions(problem, weighing, counted_clock(looks))
        assert (found.excess, found.value) >= (least[0] - 1e-6, 0.0)
        if found.excess == 0:
            assert found.value >= least[1] - 2e-5
            assert found.bound <= least[1] + 1e-6
        if found.proven:
            assert (found.excess, found.value) == pytest.approx(least, abs=2e-5)
            assert found.excess == 0 and found.bound >= found.value - 2e-5
        proofs.append(found.proven)
        assert found.losses @ found.weight == pytest.approx(found.value, abs=2e-5)
    assert proofs[-1] == (least[0] == 0) and not (proofs[0] and least[1])
    wanted = np.zeros(len(weighing.cap))
    np.add.at(
        wanted,
        weighing.of_pass[point.survey.roster_pass],
        weighing.times[point.survey.roster_pass] * point.survey.roster_wanted,
    )
    passes = np.bincount(weighing.of_pass, weighing.times)
    silent = point.policy.loss.missed * wanted / passes
    limit = point.policy.limits.missed_rate_max
    if limit is None or not wanted.any():
        assert found.silence == pytest.approx(brute_worst(silent, weighing.cap), abs=1e-6)
    else:
        assert found.silence == float("inf")


def test_whole_numbers_stand_for_the_weights_of_conditions_of_unlike_size() -> None:
    """Two passes of one condition and six of another, one of these three times."""
    weighing = Weighing(np.array([0, 0, *6 * [1]]), np.array([1, 1, 3, *5 * [1]]), np.ones(2))
    wanted = np.array([0.3, 0.7])
    times, meant = weighing.rounded(wanted)
    assert times[2] == 3 * times[3] and len(set(times[3:])) == len(set(times[:2])) == 1
    assert meant == pytest.approx(wanted, abs=0.01)
    assert np.bincount(weighing.of_pass, times) / times.sum() == pytest.approx(meant)


@pytest.mark.parametrize(
    ("seed", "limits"),
    [
        (9, Limits(0.3)),
        (16, Limits(None, 0.5)),
        (20, Limits(0.3)),
        (24, Limits(None, 0.5)),
        (31, Limits(0.5, 1.0)),
        (39, Limits(None, 0.5)),
    ],
)
def test_what_planes_leave_open_within_limits_the_model_proves(seed: int, limits: Limits) -> None:
    """Strategies that exceed them by a little lose less, and do not count."""
    rule = InConditions(aim="cvar", tail=0.4)
    point = in_conditions(small(4 * seed + 500), seed, conditions=rule, limits=limits)
    found = least_over_conditions(*weighed(point, point.policy), Clock())
    assert found.excess == 0 and found.proven and not found.infeasible
    wide = replace(point.policy, limits=Limits())
    free = least_over_conditions(*weighed(point, wide), Clock())
    assert free.proven and free.value <= found.value


@pytest.mark.parametrize(("bound", "known"), [(None, 0.0), (-1.0, 0.0), (0.0, 0.0), (2.5, 2.5)])
def test_a_model_without_a_strategy_in_time_tells_its_bound(
    bound: float | None, known: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No loss is negative; and with a strategy the bound is the same."""
    point = in_conditions(small(4 * 9 + 500), 9)
    model = ConditionsModel(*weighed(point, point.policy), Clock())
    assert model.least(False, 0)[0] is not None
    for objective in (None, 3.0):
        solved = SimpleNamespace(objective=objective, bound=bound)
        monkeypatch.setattr(conditions, "solve_mip", lambda *_, solved=solved, **__: solved)
        answer, found = model.least(False, 0)
        assert (answer is None) == (objective is None) and found == known
