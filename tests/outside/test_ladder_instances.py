"""Published interval partitions laid out as step ladders.

A ladder whose top is the highest level cuts the levels into intervals, each closed by a step. Let
pass w have one wanted tag, read from level w upward. The ladder stops for it at the first step t at
or above w, and it reports the strays read at t. Level for level their number may be any, since
nothing is assumed monotonic. So a cost W(u, t) of the interval from u (left out) to t becomes a
read point where pass w has W(w−1, t) − W(w, t) strays at level t: summed over u < w ≤ t that is
W(u, t), for every W that never falls when the interval grows downward.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Callable, Sequence
from fractions import Fraction

import jenkspy
import numpy as np
import pytest

from strategist.answers.assessment import choose
from strategist.answers.solution import Method, Options
from strategist.survey.policy import Loss, Reader
from strategist.survey.records import ReadPoint, Survey, Tag
from tests.surveyed import surveyed_policy

METHODS: list[Method] = ["search", "model"]
PRICES = (0, 1, 5, 8, 9, 10, 17, 17, 20, 24, 30)  # of a rod of length 0 … 10
REVENUES = (0, 1, 5, 8, 10, 13, 17, 18, 22, 25, 30)
A_LENGTH = 7  # no centimetre more raises a price by more: the cost below is never negative
VALUES = (-1, 2, -1, 2, 4, 5, 6, -1, 2, -1)


def partition_point(n: int, steps: int, cost: Callable[[int, int], int]) -> ReadPoint:
    """`cost(u, t)` of the interval u < w ≤ t as a read point with levels 1 … n dBm."""
    strays = {(w, t): cost(w - 1, t) - cost(w, t) for w in range(1, n + 1) for t in range(w, n + 1)}
    assert min(strays.values()) >= 0
    most = max(strays.values())
    roster = [(w - 1, tag) for w in range(1, n + 1) for tag in range(most + 1)]
    reads = [(w - 1, t - 1, tag) for (w, t), number in strays.items() for tag in range(number + 1)]
    survey = Survey(
        read_point="partition",
        levels_dbm=np.arange(1.0, n + 1),
        pass_ids=tuple(f"w{w:02d}" for w in range(1, n + 1)),
        tags=tuple(Tag(f"AB{tag:06X}") for tag in range(most + 1)),
        roster_pass=np.array([p for p, _ in roster]),
        roster_tag=np.array([tag for _, tag in roster]),
        roster_wanted=np.array([tag == 0 for _, tag in roster]),
        roster_listed=np.ones(len(roster), bool),
        read_pass=np.array([p for p, _, _ in reads]),
        read_level=np.array([level for _, level, _ in reads]),
        read_tag=np.array([tag for _, _, tag in reads]),
        read_rssi=np.full(len(reads), -60.0),
        tried=np.ones((n, n), bool),
    )
    reader = Reader(ladder_steps_max=steps)
    return ReadPoint(survey, surveyed_policy(loss=Loss(1, 1), allow=("ladder",), reader=reader))


def rod(n: int, pieces: int) -> ReadPoint:
    """A piece of length m costs 7 m less its price, so that a loss is 7 n less the revenue."""
    return partition_point(n, pieces, lambda u, t: A_LENGTH * (t - u) - PRICES[t - u])


def revenue(n: int, pieces: int, method: Method) -> float:
    result = choose(rod(n, pieces), Options(method=method, unseen=False))
    assert result.status in ("optimal", "silent") and result.bound == result.loss
    cuts = [0.0, *result.strategy.levels_dbm]
    sold = sum(PRICES[round(high - low)] for low, high in itertools.pairwise(cuts))
    assert cuts[-1] == n and sold == A_LENGTH * n - result.loss
    return sold


@pytest.mark.parametrize(
    ("n", "method"), [*((n, "search") for n in range(1, 11)), *((n, "model") for n in (1, 3, 5, 7))]
)
def test_rod_cutting(n: int, method: Method) -> None:
    """Cormen et al., Introduction to Algorithms, section 15.1: r1 … r10 (from memory)."""
    assert revenue(n, n, method) == REVENUES[n]


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize(("n", "pieces", "best"), [(8, 1, 20), (8, 2, 22), (9, 1, 24), (9, 2, 25)])
def test_rod_cutting_with_few_pieces(n: int, pieces: int, best: int, method: Method) -> None:
    """The same table with at most k pieces (C, by enumeration)."""
    assert revenue(n, pieces, method) == best


@functools.cache
def within(u: int, t: int) -> Fraction:
    """Squared distance to their mean of the values of kinds u+1 … t."""
    kinds = sorted(set(VALUES))[u:t]
    own = [Fraction(v) for v in VALUES if v in kinds]
    mean = sum(own, Fraction(0)) / max(len(own), 1)
    return sum(((v - mean) * (v - mean) for v in own), Fraction(0))


@pytest.mark.parametrize("method", METHODS)
def test_one_dimensional_clusters(method: Method) -> None:
    """Wang and Song 2011, Ckmeans.1d.dp, example with k = 3: sizes 4, 3, 3, withinss 0, 0, 2.

    A level for each of the five kinds of value; the sums of squares are scaled to whole strays.
    """
    scale = 630
    point = partition_point(5, 3, lambda u, t: _whole(scale * within(u, t)))
    result = choose(point, Options(method=method, unseen=False))
    assert result.status in ("optimal", "silent")
    assert result.loss == scale * 2
    assert result.strategy.levels_dbm == (1, 2, 5)  # −1 alone, 2 alone, then 4, 5 and 6
    kinds = sorted(set(VALUES))
    edges = [kinds[round(level) - 1] for level in result.strategy.levels_dbm]
    sizes = np.bincount(np.searchsorted(edges, VALUES)).tolist()
    assert sizes == [4, 3, 3]


JENKS = (1.3, 7.1, 7.3, 2.3, 3.9, 4.1, 7.8, 1.2, 4.3, 7.3, 5, 4.3)
_FINE = 20  # strays for a squared unit: sums of squares are rounded to whole strays


def jenks_point(values: Sequence[float], classes: int) -> ReadPoint:
    """A level for each kind of value; an interval costs the squared distances to its mean."""
    kinds = sorted(set(values))

    def cost(u: int, t: int) -> int:
        own = [value for value in values if value in kinds[u:t]]
        mean = sum(own) / max(len(own), 1)
        return round(_FINE * sum((value - mean) ** 2 for value in own))

    return partition_point(len(kinds), classes, cost)


def jenks_breaks(values: Sequence[float], classes: int) -> list[float]:
    """The upper ends of the classes that the chosen ladder makes."""
    result = choose(jenks_point(values, classes), Options(unseen=False))
    assert result.status in ("optimal", "silent")
    kinds = sorted(set(values))
    return [kinds[round(level) - 1] for level in result.strategy.levels_dbm]


def test_natural_breaks() -> None:
    """The README of jenkspy: twelve values in three classes, breaks 1.2, 2.3, 5.0 and 7.8."""
    assert jenks_breaks(JENKS, 3) == [2.3, 5.0, 7.8]


@pytest.mark.parametrize("seed", range(3))
def test_natural_breaks_of_any_values(seed: int) -> None:
    """jenkspy as a live oracle, on heaps of values that lie well apart."""
    rng = np.random.default_rng(seed)
    classes = int(rng.integers(2, 4))
    heaps = rng.choice(6, classes, replace=False)
    values = [float(4 * heap + x) for heap in heaps for x in rng.integers(0, 3, 5)]
    assert jenks_breaks(values, classes) == jenkspy.jenks_breaks(values, classes)[1:]


def _whole(number: Fraction) -> int:
    assert number.denominator == 1
    return number.numerator
