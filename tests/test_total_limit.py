"""One limit for a whole answer: the further solves for unseen tags share what the proof leaves."""

from __future__ import annotations

import importlib
from pathlib import Path

import pytest

from strategist import Options, choose, read_case

CASE = Path(__file__).parent.parent / "cases/linen-service"


@pytest.fixture
def limits(monkeypatch: pytest.MonkeyPatch) -> list[float | None]:
    """The limit of each solve; all but the first are stopped at once."""
    asked: list[float | None] = []
    module = importlib.import_module("strategist.choose")
    real = module.Clock

    def clock(seconds: float | None) -> object:
        asked.append(seconds)
        return real(seconds if len(asked) == 1 else 0.0)

    monkeypatch.setattr(module, "Clock", clock)
    return asked


def test_solves_without_some_tags_share_the_rest(limits: list[float | None]) -> None:
    """Each of at most eight gets an eighth of what the proof left, and an unproven one is said."""
    point = read_case(CASE, "soiled-chute").read_points[0]
    result = choose(point, Options(total_limit_s=800.0))
    first, *shares = limits
    assert first == 800.0
    assert 1 <= len(shares) <= 8
    assert all(share is not None and 0 < share < 100 for share in shares)
    assert result.status == "optimal"
    assert "not proven in the time given" in result.warnings[-1]


def test_without_it_each_solve_has_its_own_limit(limits: list[float | None]) -> None:
    point = read_case(CASE, "soiled-chute").read_points[0]
    choose(point, Options(time_limit_s=600.0))
    assert len(limits) > 1
    assert set(limits) == {600.0}
