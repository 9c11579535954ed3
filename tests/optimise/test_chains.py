"""Chains that are joined on as they are needed are those that a list of all would have left."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strategist.optimise.chains import Chains
from strategist.optimise.clock import Clock
from strategist.optimise.node import Penalties
from strategist.optimise.problem import Problem, pose
from strategist.survey.policy import TECHNIQUES
from tests.optimise.made import BY_JOINS, random_read_point


def problem_of(seed: int) -> Problem | None:
    """A problem with masks to choose from; None where a survey has too few."""
    point = random_read_point(seed, size=2)
    reader = replace(point.policy.reader, mask_slots=3)
    policy = replace(point.policy, reader=reader, allow=TECHNIQUES)
    problem = pose(point.survey, policy, BY_JOINS)
    return problem if len(problem.candidates.masks) > 1 and problem.slots == 3 else None


def every_join(problem: Problem, masks: int) -> set[bytes]:
    """All selections of the chains of so many masks, also those that fewer make."""
    tests = np.repeat(problem.candidates.matches, 2, axis=0)
    tests[1::2] ^= True
    found = {np.ones(tests.shape[1], bool).tobytes()}
    for place in range(masks):
        before = [np.frombuffer(one, bool) for one in found]
        joined = {(one & test).tobytes() for one in before for test in tests}
        found = joined | ({(one | test).tobytes() for one in before for test in tests if place})
    return found


def a_cut(rng: np.random.Generator, classes: int) -> Penalties:
    """Linear in the classes that are open; some are settled."""
    settled = rng.random(classes)
    return Penalties(
        float(rng.normal(0, 3)),
        np.where((settled < 0.1) | (settled > 0.9), 0.0, rng.normal(0, 2, classes)),
        np.flatnonzero(settled < 0.1),
        np.flatnonzero(settled > 0.9),
    )


def below(selection: np.ndarray, cut: Penalties, limit: float) -> bool:
    settled = selection[cut.fixed_in].all() and not selection[cut.fixed_out].any()
    return bool(settled and cut.base + cut.weight[selection].sum() <= limit)


def test_joined_chains_are_those_within_the_cuts() -> None:
    """Of what takes so many masks and no fewer: on random cuts none that is within them is
    lost, and none that is above one by more than rounding is kept."""
    rng, kept, lost = np.random.default_rng(0), 0, 0
    for seed in range(40):
        problem = problem_of(seed)
        if problem is None:
            continue
        chains = Chains(problem, Clock())
        for masks in (1, 2, 3):
            assert chains.joins(masks)
            fewer, all_ = every_join(problem, masks - 1), every_join(problem, masks)
            every = [np.frombuffer(one, bool) for one in all_]
            for _ in range(6):
                cuts = [a_cut(rng, problem.profile.classes) for _ in range(2)]
                limit = float(rng.normal(0, 4))
                within = {x.tobytes() for x in every if all(below(x, c, limit) for c in cuts)}
                wider = limit + 1e-3
                most = {x.tobytes() for x in every if all(below(x, c, wider) for c in cuts)}
                left = chains.worth(cuts, limit, masks)
                found = {one.tobytes() for one in left.unpack(slice(None))}
                assert within - fewer <= found <= most
                kept, lost = kept + len(within - fewer), lost + len(every) - len(within)
                for row in range(len(left)):
                    through = problem.selection(left.chain(row))
                    assert (through == left.unpack(np.array([row]))[0]).all()
    assert kept > 200 < lost


@pytest.mark.parametrize("seed", range(12))
def test_lists_hold_each_selection_once_with_its_cheapest_chain(seed: int) -> None:
    """By length: what no shorter chain makes, each once."""
    problem = problem_of(seed)
    if problem is None:
        pytest.skip("too few masks")
    chains = Chains(replace(problem, tuning=replace(BY_JOINS, joins_few=10**9)), Clock())
    seen: set[bytes] = set()
    for masks in range(4):
        listed = chains.listed(masks)
        rows = [one.tobytes() for one in listed.unpack(slice(None))]
        assert len(set(rows)) == len(rows) and not seen & set(rows)
        seen |= set(rows)
        fewer = every_join(problem, masks) if masks else seen
        assert fewer <= seen
