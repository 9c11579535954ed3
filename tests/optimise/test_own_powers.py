"""Own power and cutoff for each antenna: the model and the descent against brute force."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from strategist.optimise.clock import Clock
from strategist.optimise.own_model import prove_own_powers
from strategist.optimise.own_powers import OFF, ByAntenna, Own, descend
from strategist.survey.policy import Limits, Loss
from strategist.survey.records import Floats

SMALL = range(30)
SELECTIONS = np.array([[True, True, True], [True, False, True], [False, True, False]])


def small(seed: int) -> ByAntenna:
    """Two or three antennas, three levels, a dozen presentations; each feature in some of them."""
    rng = np.random.default_rng(seed)
    antennas, rows = int(rng.integers(2, 4)), int(rng.integers(6, 14))
    rssi: Floats = rng.integers(-16, -8, (rows, antennas, 3)) * np.float64(2.5)
    rssi[rng.random(rssi.shape) < 0.35] = -np.inf
    wanted = rng.random(rows) < 0.5
    allowed = rng.random((antennas, 3)) < 0.9
    limits = Limits(
        missed_rate_max=[None, 0.2, 0.0][seed % 3], stray_rate_max=[None, 0.5][seed // 3 % 2]
    )
    return ByAntenna(
        wanted=wanted,
        weight=rng.integers(1, 4, rows).astype(float),
        row_class=rng.integers(0, 3, rows),
        rssi=rssi,
        guarded=rssi + np.where(wanted, -1.0, 1.0)[:, None, None],
        allowed=allowed,
        through=SELECTIONS[: 1 + seed % 2 * 2],
        loss=Loss(*[(5, 1), (1, 1), (1, 3)][seed // 2 % 3]),
        limits=limits,
        passes=4,
        step_db=[None, 1.0, 3.0][seed % 3],
        cutoffs=seed % 5 != 4,
    )


def settable(problem: ByAntenna) -> list[float]:
    """No cutoff, and one cutoff in each range of RSSI, as far as they can be set."""
    if not problem.cutoffs:
        return [-np.inf]
    step = problem.step_db
    values = np.unique(problem.rssi[np.isfinite(problem.rssi)]).tolist()
    if step is None:
        return [-np.inf, *values]
    steps = range(int(values[0] // step), int(values[-1] // step) + 1)
    return [-np.inf, *(step * n for n in steps)]


def every(problem: ByAntenna) -> Iterator[Own]:
    choices = [
        [(OFF, -np.inf), *itertools.product(np.flatnonzero(may).tolist(), settable(problem))]
        for may in problem.allowed
    ]
    for chosen in itertools.product(*choices):
        level, cutoff = zip(*chosen, strict=True)
        for selection in range(len(problem.through)):
            yield Own(level, cutoff, selection)


def plainly(problem: ByAntenna, own: Own) -> tuple[float, float]:
    """Excess and loss, row by row, written apart from what is tested."""
    missed = stray = wanted = 0.0
    for r, weight in enumerate(problem.weight):
        heard = any(
            level != OFF and np.isfinite(dbm := problem.rssi[r, a, level]) and dbm >= cutoff
            for a, (level, cutoff) in enumerate(zip(own.level, own.cutoff, strict=True))
        )
        reported = heard and problem.through[own.selection][problem.row_class[r]]
        wanted += weight * problem.wanted[r]
        missed += weight * (problem.wanted[r] and not reported)
        stray += weight * (reported and not problem.wanted[r])
    excess = problem.limits.excess(missed / wanted if wanted else None, stray / problem.passes)
    return round(excess, 6), round(problem.loss.missed * missed + problem.loss.stray * stray, 6)


def least(problem: ByAntenna) -> tuple[float, float]:
    """The least key of all choices, by the tables of each antenna: three loops in all."""
    keys = (problem.key(own)[:2] for own in every(problem))
    return min(keys)


@pytest.mark.parametrize("seed", SMALL)
def test_the_model_equals_brute_force(seed: int) -> None:
    """Excess and loss are the least of all powers, cutoffs and selections, and proven so."""
    problem = small(seed)
    if problem.rssi.shape[1] == 3 and problem.cutoffs:
        problem = replace(problem, step_db=3.0)  # fewer cutoffs, or brute force takes minutes
    found = prove_own_powers(problem, Clock())
    assert found.proven
    assert found.key[:2] == found.bound == least(problem) == plainly(problem, found.own)


def test_the_small_problems_are_not_all_alike() -> None:
    """Otherwise the equality above would say little."""
    found = [prove_own_powers(small(seed), Clock()) for seed in SMALL]
    assert sum(one.key[0] > 0 for one in found) >= 3
    assert sum(len({x for x in one.own.level if x != OFF}) > 1 for one in found) >= 8
    assert sum(len({x for x in one.own.cutoff if np.isfinite(x)}) > 1 for one in found) >= 8
    assert sum(one.own.selection > 0 for one in found) >= 3
    assert (
        sum(
            one.key[:2] < (0, s.loss.missed * s.wanted_presented)
            for one, s in zip(found, map(small, SMALL), strict=True)
        )
        >= 15
    )


@pytest.mark.parametrize("seed", SMALL)
def test_descent_is_never_worse_than_its_start(seed: int) -> None:
    """Nor than any one level that all antennas share, with any one cutoff."""
    problem = small(seed)
    shared = [
        Own(
            tuple(level if may else OFF for may in problem.allowed[:, level]),
            (cutoff,) * len(problem.allowed),
            selection,
        )
        for level in range(3)
        for cutoff in settable(problem)
        for selection in range(len(problem.through))
    ]
    start = min(shared, key=problem.key)
    assert problem.key(descend(problem, Clock(), start)) <= problem.key(start)


@pytest.mark.parametrize("seed", range(5))
def test_without_time_the_bound_holds(seed: int) -> None:
    problem = small(seed)
    found = prove_own_powers(problem, Clock(0.0))
    assert found.bound <= prove_own_powers(problem, Clock()).key[:2] <= found.key[:2]
