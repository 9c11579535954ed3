"""The batch to measure: its covering rows hold, it costs least, and known set covers come out."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest

from strategist.optimise.clock import Clock
from strategist.optimise.next_pairs import Cost, pairs_to_measure

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
    needs = [dict.fromkeys(triple, (0,)) for triple in triples]
    batch = pairs_to_measure(doubt, needs, ONE_A_PASS, 1 / 3, Clock())
    assert len(batch) == least
    assert all(set(triple) & set(batch) for triple in triples)


def settled(batch: dict[int, tuple[int, ...]], needs: dict[int, tuple[int, ...]]) -> list[int]:
    return [p for p, levels in needs.items() if set(levels) <= set(batch.get(p, ()))]


def minutes(batch: dict[int, tuple[int, ...]], cost: Cost) -> float:
    return sum(cost.a_pass + cost.a_level * len(levels) for levels in batch.values())


@pytest.mark.parametrize("seed", range(12))
def test_no_batch_that_settles_as_much_costs_less(seed: int) -> None:
    """Against every union of what the contenders need of some passes."""
    rng = random.Random(seed)
    cost = Cost(rng.choice([0.5, 3.0]), rng.choice([0.1, 1.0]))
    needs = [
        {p: tuple(sorted(rng.sample(range(3), rng.randint(1, 2)))) for p in rng.sample(range(4), 3)}
        for _ in range(2)
    ]
    doubt = np.zeros((2, 4))
    for row, of in enumerate(needs):
        doubt[row, list(of)] = [rng.uniform(0.1, 5) for _ in of]
    batch = pairs_to_measure(doubt, needs, cost, 0.5, Clock())
    best = float("inf")
    pairs = [(row, p) for row, of in enumerate(needs) for p in of]
    for some in itertools.chain.from_iterable(
        itertools.combinations(pairs, size) for size in range(len(pairs) + 1)
    ):
        union: dict[int, set[int]] = {}
        for row, p in some:
            union.setdefault(p, set()).update(needs[row][p])
        other = {p: tuple(sorted(levels)) for p, levels in union.items()}
        if covers(other, needs, doubt):
            best = min(best, minutes(other, cost))
    assert covers(batch, needs, doubt)
    assert minutes(batch, cost) == pytest.approx(best)


def covers(
    batch: dict[int, tuple[int, ...]], needs: list[dict[int, tuple[int, ...]]], doubt: np.ndarray
) -> bool:
    return all(
        doubt[row, settled(batch, of)].sum() >= 0.5 * doubt[row].sum() - 1e-6
        for row, of in enumerate(needs)
    )


def test_without_time_it_is_greedy_and_covers() -> None:
    doubt = np.array([[1.0, 4.0, 2.0], [0.0, 1.0, 3.0]])
    needs = [{0: (0,), 1: (0, 1), 2: (2,)}, {1: (1,), 2: (1,)}]
    batch = pairs_to_measure(doubt, needs, Cost(1.0, 0.1), 0.5, Clock(0.0))
    assert covers(batch, needs, doubt) and batch


def test_nothing_in_doubt_needs_nothing() -> None:
    assert pairs_to_measure(np.zeros((1, 3)), [{}], ONE_A_PASS, 0.5, Clock()) == {}
    assert pairs_to_measure(np.zeros((0, 3)), [], ONE_A_PASS, 0.5, Clock()) == {}
