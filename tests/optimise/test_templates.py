"""Templates: the model's choice is that of brute force over all sets of candidates."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from strategist.optimise.clock import Clock
from strategist.optimise.templates import choose_templates, template_curve
from strategist.survey.records import Floats


def brute_force(loss: Floats, at_most: int) -> tuple[int, float]:
    """The least (rows without a column, loss) over every set of at most so many columns."""
    sets = itertools.chain.from_iterable(
        itertools.combinations(range(loss.shape[1]), n) for n in range(1, at_most + 1)
    )
    found = []
    for columns in sets:
        best = loss[:, columns].min(axis=1)
        found.append((int(np.isinf(best).sum()), float(best[np.isfinite(best)].sum())))
    return min(found)


@pytest.mark.parametrize("seed", range(30))
def test_least_loss_is_that_of_brute_force(seed: int) -> None:
    rng = np.random.default_rng(seed)
    loss = rng.integers(0, 20, (int(rng.integers(1, 9)), int(rng.integers(1, 9)))).astype(float)
    loss *= rng.choice([1.0, 0.35])
    loss[rng.random(loss.shape) < rng.choice([0.0, 0.3, 0.8])] = np.inf
    for at_most in range(1, loss.shape[1] + 1):
        found = choose_templates(loss, at_most)
        without, least = brute_force(loss, at_most)
        assert found.without == without
        assert found.loss == pytest.approx(least)
        assert len(found.chosen) <= at_most
        assert set(found.use) - {None} == set(found.chosen)
        paid = [loss[p, c] for p, c in enumerate(found.use) if c is not None]
        assert sum(paid) == pytest.approx(found.loss)


def test_worked_by_hand() -> None:
    """Column 1 serves all at 6; with two, rows 0 and 1 take column 0 and row 2 column 2."""
    loss = np.array([[0.0, 2.0, 9.0], [1.0, 2.0, 9.0], [np.inf, 2.0, 0.0]])
    one, two = template_curve(loss, 5)
    assert (one.chosen, one.use, one.loss) == ((1,), (1, 1, 1), 6.0)
    assert (two.chosen, two.use, two.loss) == ((0, 2), (0, 0, 2), 1.0)


def test_a_row_that_nothing_serves_goes_without() -> None:
    loss = np.array([[np.inf, np.inf], [3.0, 1.0]])
    (only,) = template_curve(loss, 2)
    assert (only.chosen, only.use, only.loss, only.without) == ((1,), (None, 1), 1.0, 1)


def test_the_curve_goes_on_while_rows_go_without() -> None:
    """One template leaves a row without any, and nothing lost elsewhere; a second serves it."""
    loss = np.array([[0.0, np.inf], [np.inf, 0.0]])
    one, two = template_curve(loss, 5)
    assert (one.without, one.loss) == (1, 0.0)
    assert (two.without, two.loss, two.chosen) == (0, 0.0, (0, 1))


def test_the_curve_never_rises() -> None:
    rng = np.random.default_rng(5)
    curve = template_curve(rng.random((12, 10)), 10)
    losses = [one.loss for one in curve]
    assert losses == sorted(losses, reverse=True) and len(curve) > 3


@pytest.mark.parametrize(
    "loss", [np.zeros((0, 2)), np.zeros(3), np.array([[-1.0]]), np.array([[np.nan]])]
)
def test_another_table_is_refused(loss: Floats) -> None:
    with pytest.raises(ValueError, match="table of losses"):
        choose_templates(loss, 1)


def test_nothing_serves_anyone() -> None:
    (only,) = template_curve(np.full((3, 2), np.inf), 2)
    assert (only.chosen, only.use, only.without) == ((), (None, None, None), 3)


@pytest.mark.parametrize("seed", range(10))
def test_without_time_the_choice_is_legal_and_its_bound_holds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    loss = rng.integers(0, 20, (8, 6)).astype(float)
    loss[rng.random(loss.shape) < rng.choice([0.0, 0.5])] = np.inf
    curve = template_curve(loss, 6, Clock(0.0))
    for at_most, found in enumerate(curve, 1):
        without, least = brute_force(loss, at_most)
        assert len(found.chosen) <= at_most
        assert (found.without, found.loss) >= (without, least)
        assert found.bound <= least or found.without > without
        if found.proven:
            assert (found.without, found.loss) == (without, pytest.approx(least))
    worths = [(found.without, found.loss) for found in curve]
    assert worths == sorted(worths, reverse=True)
    assert not curve[0].proven


def test_an_answer_with_proof_has_its_loss_as_bound() -> None:
    found = choose_templates(np.array([[0.0, 2.0], [3.0, 2.0]]), 1, Clock(600.0))
    assert (found.loss, found.bound, found.proven) == (3.0, 3.0, True)
