"""The batch to measure: its covering rows hold, it costs least, and known set covers come out."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from strategist.optimise.clock import Clock
from strategist.optimise.next_pairs import Cost, pairs_to_measure, settled_by
from strategist.survey.records import Bools, Floats

# Steiner triple systems as hitting sets; optima: Fano plane 3, A9 5 (Fulkerson, Nemhauser and
# Trotter, Math. Program. Study 2, 1974).
FANO = [(0, 1, 2), (0, 3, 4), (0, 5, 6), (1, 3, 5), (1, 4, 6), (2, 3, 6), (2, 4, 5)]
A9 = [
    *((0, 1, 2), (3, 4, 5), (6, 7, 8), (0, 3, 6), (1, 4, 7), (2, 5, 8)),
    *((0, 4, 8), (1, 5, 6), (2, 3, 7), (0, 5, 7), (1, 3, 8), (2, 4, 6)),
]
ONE_A_PASS = Cost(1.0, 0.0)


@pytest.mark.parametrize(("triples", "points", "least"), [(FANO, 7, 3), (A9, 9, 5)])
def test_known_covers(triples: list[tuple[int, ...]], points: int, least: int) -> None:
    """A contender for each triple, in doubt at three passes, of which one is enough."""
    doubt = np.zeros((len(triples), points))
    for row, triple in enumerate(triples):
        doubt[row, list(triple)] = 1.0
    batch = pairs_to_measure(doubt, doubt[:, :, None].copy(), ONE_A_PASS, 1 / 3, Clock())
    assert batch.sum() == least
    assert all(batch[list(triple)].any() for triple in triples)


def settled(doubt: Floats, told: Floats, batch: Bools) -> Floats:
    """By contender, worked out pass by pass."""
    return np.array(
        [
            sum(of[p] * min(1.0, tells[p][batch[p]].sum()) for p in range(len(of)))
            for of, tells in zip(doubt, told, strict=True)
        ]
    )


def minutes(batch: Bools, cost: Cost) -> float:
    return cost.a_pass * batch.any(axis=1).sum() + cost.a_level * batch.sum()


@pytest.mark.parametrize("seed", range(12))
def test_no_batch_that_settles_as_much_costs_less(seed: int) -> None:
    """Against every set of pairs."""
    rng = np.random.default_rng(seed)
    cost = Cost(float(rng.choice([0.5, 3.0])), float(rng.choice([0.1, 1.0])))
    doubt = rng.uniform(0.1, 5.0, (2, 4))
    told = np.where(rng.random((2, 4, 2)) < 0.7, rng.uniform(0.1, 1.0, (2, 4, 2)), 0.0)
    all_pairs = settled(doubt, told, np.ones((4, 2), bool))
    goal = np.minimum(0.5 * doubt.sum(axis=1), 0.9 * all_pairs)
    batch = pairs_to_measure(doubt, told, cost, 0.5, Clock())
    assert np.allclose(settled_by(doubt, told, batch).sum(axis=1), settled(doubt, told, batch))
    assert (settled(doubt, told, batch) >= goal - 1e-6).all()
    every = (np.array(some).reshape(4, 2) for some in itertools.product([False, True], repeat=8))
    best = min(
        minutes(one, cost) for one in every if (settled(doubt, told, one) >= goal - 1e-6).all()
    )
    assert minutes(batch, cost) == pytest.approx(best)


def test_without_time_it_is_greedy_and_covers() -> None:
    doubt = np.array([[1.0, 4.0, 2.0], [0.0, 1.0, 3.0]])
    told = np.array([[[0.5, 0.4], [0.2, 0.9], [1.0, 0.0]], [[0.0, 0.0], [0.3, 0.3], [0.6, 0.2]]])
    batch = pairs_to_measure(doubt, told, Cost(1.0, 0.1), 0.5, Clock(0.0))
    assert (settled(doubt, told, batch) >= 0.5 * doubt.sum(axis=1)).all() and not batch.all()


def test_nothing_in_doubt_needs_nothing() -> None:
    nothing = np.zeros((1, 3, 2))
    assert not pairs_to_measure(np.zeros((1, 3)), nothing, ONE_A_PASS, 0.5, Clock()).any()
    assert not pairs_to_measure(np.zeros((0, 3)), nothing[:0], ONE_A_PASS, 0.5, Clock()).any()
    assert not pairs_to_measure(np.ones((1, 3)), nothing, ONE_A_PASS, 0.5, Clock()).any()
