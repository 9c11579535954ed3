"""Who watches a proof sees the incumbent fall and the bound rise to what comes out."""

from __future__ import annotations

from pathlib import Path

import pytest

import strategist
from strategist import Options

CASE = Path(__file__).parents[2] / "cases/linen-service"


@pytest.mark.parametrize("name", ["sorting-belt", "shelf-cabinet"])
def test_losses_fall_and_bounds_rise(name: str) -> None:
    point = strategist.read_case(CASE)[name]
    told: list[tuple[float, float | None, float | None]] = []
    options = Options(unseen=False, sturdier=False)
    watched = strategist.choose(point, options, watch=lambda *one: told.append(one))
    alone = strategist.choose(point, options)
    assert watched.strategy == alone.strategy and watched.loss == alone.loss
    spent, losses, bounds = zip(*told, strict=True)
    assert list(spent) == sorted(spent)
    assert None not in losses and None not in bounds
    assert list(losses) == sorted(losses, reverse=True) and list(bounds) == sorted(bounds)
    assert all(bound <= watched.loss <= loss for _, loss, bound in told)
    assert losses[-1] == watched.loss
