"""Own power and cutoff for each antenna: model, search and descent against brute force."""

from __future__ import annotations

import numpy as np
import pytest
from pytest import MonkeyPatch

from strategist.optimise import own_search
from strategist.optimise.clock import Clock
from strategist.optimise.own_model import prove_own_powers
from strategist.optimise.own_powers import OFF, ByAntenna, Own, descend
from strategist.survey.policy import Limits, Loss
from strategist.survey.records import Floats

SMALL = range(42)  # in the last dozen not all antennas may be on
# what two let through together, none does alone
SELECTIONS = np.array([[1, 1, 1], [1, 0, 1], [1, 0, 0], [0, 1, 0]], bool)


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
        through=SELECTIONS[: 1 + seed % 2 * 3],
        loss=Loss(*[(5, 1), (1, 1), (1, 3)][seed // 2 % 3]),
        limits=limits,
        passes=4,
        step_db=[None, 1.0, 3.0][seed % 3],
        cutoffs=seed % 5 != 4,
        on_max=None if seed < 30 else 1 + seed % 2 * (antennas > 2),
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
    """The least excess and loss of all choices, written apart from what is tested: what each
    setting of an antenna counts, and all ways to join them."""
    rows = len(problem.wanted)
    heard = np.zeros((1, rows + 1), int)  # the last column counts antennas that are on
    for a, may in enumerate(problem.allowed):
        tables = [problem.rssi[:, a, level] for level in np.flatnonzero(may)]
        own = [
            (table >= cutoff) & np.isfinite(table)
            for table in tables
            for cutoff in settable(problem)
        ]
        each = np.array([np.zeros(rows + 1, int), *(np.append(one, 1) for one in own)])
        both = heard[:, None] + each
        both[..., :rows] = np.minimum(both[..., :rows], 1)
        heard = np.unique(both.reshape(-1, rows + 1), axis=0)
    may_be = heard[:, rows] <= (problem.on_max or len(problem.allowed))
    heard = heard[may_be, :rows].astype(bool)
    wanted = problem.weight * problem.wanted
    keys = []
    for let in problem.through[:, problem.row_class]:
        found, stray = (heard & let) @ wanted, (heard & let) @ (problem.weight - wanted)
        for a, b in zip(found.tolist(), stray.tolist(), strict=True):
            missed = wanted.sum() - a
            rate = missed / wanted.sum() if wanted.any() else None
            loss = problem.loss.missed * missed + problem.loss.stray * b
            keys.append((round(problem.limits.excess(rate, b / problem.passes), 6), round(loss, 6)))
    return min(keys)


@pytest.mark.parametrize("seed", SMALL)
def test_model_and_search_equal_brute_force(seed: int) -> None:
    """Excess and loss are the least of all powers, cutoffs and selections, and proven so; and so
    the model of what a search leaves that is stopped at once."""
    problem = small(seed)
    by_all = least(problem)
    for method in ("model", "auto"):
        found = prove_own_powers(problem, Clock(), method=method)
        assert found.proven
        on = sum(level != OFF for level in found.own.level)
        assert on <= (problem.on_max or on)
        assert found.key[:2] == found.bound == by_all == plainly(problem, found.own)
        assert ("variables" in dict(found.effort)) == (method == "model" or by_all[0] > 0)


@pytest.mark.parametrize("seed", range(0, 30, 3))
def test_the_model_goes_on_where_the_search_stops(seed: int, monkeypatch: MonkeyPatch) -> None:
    """With what is still alive, to the same end; and the bound of the search holds there."""
    problem = small(seed)
    whole = prove_own_powers(problem, Clock(), method="search")
    monkeypatch.setattr(own_search, "_PARTS_MAX", 1)
    monkeypatch.setattr(own_search, "_FIRST", 3)
    stopped = prove_own_powers(problem, Clock(), method="search")
    assert stopped.bound <= whole.key[:2] <= stopped.key[:2]
    assert prove_own_powers(problem, Clock()).key[:2] == whole.key[:2]


@pytest.mark.parametrize("seed", SMALL[::2])
def test_splits_find_what_poor_prices_do_not(seed: int, monkeypatch: MonkeyPatch) -> None:
    """Parts whose bounds are hardly raised are split until one choice is left in each."""
    for rounds in ("_FIRST", "_LOOK", "_ROUNDS"):
        monkeypatch.setattr(own_search, rounds, 1)
    monkeypatch.setattr(own_search, "improved", lambda problem, own, clock: own)
    problem = small(seed)
    by_all = least(problem)
    if by_all[0] == 0:
        nothing = Own((OFF,) * len(problem.allowed), (-np.inf,) * len(problem.allowed), 0)
        begin = nothing if problem.key(nothing)[0] == 0 else prove_own_powers(problem, Clock()).own
        found = own_search.search_own_powers(problem, begin, Clock())
        assert (0.0, found.bound) == by_all == problem.key(found.own)[:2]


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
    most = problem.on_max or len(problem.allowed)
    few = [own for own in shared if sum(level != OFF for level in own.level) <= most]
    antennas = len(problem.allowed)
    nothing = Own((OFF,) * antennas, (-np.inf,) * antennas)
    start = min([nothing, *few], key=problem.key)
    assert problem.key(descend(problem, Clock(), start)) <= problem.key(start)


@pytest.mark.parametrize("seed", range(5))
def test_without_time_the_bound_holds(seed: int) -> None:
    problem = small(seed)
    found = prove_own_powers(problem, Clock(0.0))
    assert found.bound <= prove_own_powers(problem, Clock()).key[:2] <= found.key[:2]
