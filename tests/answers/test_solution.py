"""What a solution puts together from the proofs of its parts."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import Any

import pytest

from strategist.answers import frontier, solution
from strategist.answers.over import passes_over
from strategist.answers.solution import Options
from strategist.optimise.clock import Clock
from strategist.optimise.outer import Found
from strategist.optimise.problem import Answer, Chain, answer_at
from strategist.optimise.scores import Parts, parts_of
from tests.recorded.points import expecting, portal, small


@pytest.fixture
def parts() -> Parts:
    """Three of the scores of two antennas."""
    point = portal(0, 3)
    found = parts_of(point.survey, point.policy)
    assert len(found.parts) > 2
    return replace(found, parts=found.parts[:3])


def answers(parts: Parts, *given: tuple[tuple[float, ...], float, float]) -> list[Answer]:
    """By (excess, loss, guarded loss), bound of the loss, and of the guarded loss."""
    found = []
    for part, (key, bound, guarded) in zip(parts.parts, given, strict=True):
        one = answer_at(part.problem, Chain(), 0, (0,))
        whole = (*key, *one.key[3:])
        found.append(replace(one, key=whole, bound=(0.0, bound), guarded_bound=guarded))
    return found


def test_no_score_is_below_the_least_bound_of_all(
    parts: Parts, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second is best by its guarded loss; the third leaves the loss open, and the first, which
    loses as little, the guarded loss."""
    given = answers(parts, ((0, 5, 9), 4, 7), ((0, 5, 8), 5, 8), ((0, 6, 1), 3, 0.5))
    seen = []

    def prove(problem: Any, _options: Options, _clock: Clock, start: Answer | None) -> Any:
        number = [one.problem is problem for one in parts.parts].index(True)
        seen.append(start)
        return given[number], f"way {number}"

    monkeypatch.setattr(solution, "_prove_part", prove)
    start = Found(parts.parts[2], given[0])
    found, method, at_root = solution._prove(parts, Options(method="model"), Clock(), start)
    assert (found.part is parts.parts[1], method, at_root) == (True, "way 1", 0)
    assert found.answer.key == given[1].key
    assert (found.answer.bound, found.answer.guarded_bound) == ((0.0, 3.0), 7.0)
    assert [one is given[0] for one in seen] == [False, False, True]
    assert seen[:2] == [None, None]


def test_a_guarded_bound_is_not_above_the_guarded_loss(
    parts: Parts, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = answers(parts, ((0, 5, 2), 5, 4), ((0, 5, 3), 5, 3), ((0, 5, 9), 5, 9))
    found = iter(given)
    monkeypatch.setattr(solution, "_prove_part", lambda *_: (next(found), "model"))
    best = solution._prove(parts, Options(method="model"), Clock(), None)[0]
    assert (best.answer.key[2], best.answer.guarded_bound, best.answer.bound) == (2, 2, (0, 5))


@pytest.mark.parametrize("aim", ["survey", "expected"])
def test_what_a_strategy_takes_to_evaluate_is_tried(aim: str) -> None:
    """No longer than the trial itself."""
    whole = small(84) if aim == "survey" else expecting(small(84))
    passes = passes_over(whole, 0)
    before = time.monotonic()
    taken = frontier._seconds_a_point(whole, passes)
    assert 0 < taken <= time.monotonic() - before
