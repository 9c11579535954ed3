"""Who watches a proof sees the incumbent fall and the bound rise to what comes out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import strategist
from strategist import Options
from strategist.survey.policy import Limits
from tests.surveyed import as_surveyed

CASE = Path(__file__).parents[2] / "cases/linen-service"
OPTIONS = Options(unseen=False, sturdier=False)


@pytest.mark.parametrize("name", ["sorting-belt", "shelf-cabinet"])
def test_losses_fall_and_bounds_rise(name: str) -> None:
    point = as_surveyed(strategist.read_case(CASE)[name])
    told: list[tuple[float, float]] = []
    with strategist.watched_by(lambda it: told.append((it.loss or 0.0, it.bound or 0.0))):
        watched = strategist.choose(point, OPTIONS)
    alone = strategist.choose(point, OPTIONS)
    assert watched.strategy == alone.strategy and watched.loss == alone.loss
    losses, bounds = zip(*told, strict=True)
    assert list(losses) == sorted(losses, reverse=True) and list(bounds) == sorted(bounds)
    assert all(bound <= watched.loss <= loss for loss, bound in told)
    assert losses[-1] == watched.loss


def test_where_the_limits_are_exceeded_no_loss_is_told() -> None:
    """Less is exceeded from one strategy to the next, and the loss may go up meanwhile."""
    point = as_surveyed(strategist.read_case(CASE)["sorting-belt"])
    limits = Limits(missed_rate_max=0.0, stray_rate_max=0.0)
    told: list[float | None] = []
    with strategist.watched_by(lambda it: told.extend((it.loss, it.bound))):
        found = strategist.choose(replace(point, policy=replace(point.policy, limits=limits)))
    assert found.status == "infeasible"
    assert not [loss for loss in told if loss is not None]
