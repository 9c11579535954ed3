"""One limit for a whole answer: the further solves for unseen tags share what the proof leaves."""

from __future__ import annotations

import importlib
from pathlib import Path

import pytest

from strategist import Options, choose, compare_techniques, read_case, usual_what_ifs, what_if
from tests.optimise.made import random_read_point
from tests.surveyed import as_surveyed

CASE = Path(__file__).parent.parent / "cases/linen-service"


@pytest.fixture
def limits(monkeypatch: pytest.MonkeyPatch) -> list[float | None]:
    """The limit of each solve; all but the first are stopped at once."""
    asked: list[float | None] = []
    module = importlib.import_module("strategist.answers.assessment")
    real = module.Clock

    def clock(seconds: float | None) -> object:
        asked.append(seconds)
        return real(seconds if len(asked) == 1 else 0.0)

    monkeypatch.setattr(module, "Clock", clock)
    monkeypatch.setattr("strategist.answers.solution.Clock", clock)
    monkeypatch.setattr("strategist.answers.techniques.Clock", clock)
    return asked


def test_solves_without_some_tags_share_the_rest(limits: list[float | None]) -> None:
    """Each of at most eight gets an eighth of what the proof left, and an unproven one is said."""
    point = as_surveyed(read_case(CASE)["soiled-chute"])
    result = choose(point, Options(total_limit_s=800.0, sturdier=False))
    first, *shares = limits
    assert first == 800.0
    assert 1 <= len(shares) <= 8
    assert all(share is not None and 0 < share < 100 for share in shares)
    assert result.status == "optimal"
    assert "not proven in the time given" in result.warnings[-1]


def test_without_it_each_solve_has_its_own_limit(limits: list[float | None]) -> None:
    point = as_surveyed(read_case(CASE)["soiled-chute"])
    choose(point, Options(time_limit_s=600.0))
    assert len(limits) > 1
    assert set(limits) == {600.0}


def test_what_ifs_share_it(limits: list[float | None]) -> None:
    """Nine parts: one for the first solve, then for each later one its part of what the others
    left, and one for the last look at all answers."""
    found = usual_what_ifs(random_read_point(8, 1), Options(total_limit_s=800.0, unseen=False))
    solves = 1 + sum(one.answer is not None for one in found.questions)
    first, *shares = limits
    assert (len(found.questions), len(limits)) == (7, solves)
    assert first == pytest.approx(800 / 9, abs=5)
    assert all(share is not None and 84 < share < 500 for share in shares)
    limits.clear()
    what_if(
        random_read_point(8, 1),
        {"loss.missed": 9},
        options=Options(total_limit_s=800.0, unseen=False),
    )
    assert limits[0] == pytest.approx(400, abs=5)
    assert limits[-1] is not None and 395 < limits[-1] <= 800


def test_techniques_share_it(limits: list[float | None]) -> None:
    """Variants that come to the same choice are solved, and get a share, once."""
    found = compare_techniques(random_read_point(8, 1), Options(total_limit_s=800.0))
    assert 5 < len(limits) < len(found.variants)
    assert limits[0] == pytest.approx(800 / len(limits), abs=5)
    limits.clear()
    compare_techniques(random_read_point(8, 1), Options(time_limit_s=60.0))
    assert set(limits) == {60.0}
