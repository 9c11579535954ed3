"""The one verb compares every answer with the independent evaluator."""

from __future__ import annotations

import dataclasses
import importlib
import time
from collections.abc import Callable
from typing import Any

import pytest

from strategist import assess_fully, choose, compare_techniques, trace_frontier
from strategist.errors import DisagreementError
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import Outcome, evaluate
from tests.optimise.made import random_read_point, survey_of
from tests.surveyed import surveyed_policy


@pytest.mark.parametrize("change", [{"missed": 1}, {"stray": 1}, {"loss": 0.5}])
def test_a_disagreement_is_an_error(
    change: dict[str, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the evaluator counts a tag, or half a loss, more than the optimiser, none leaves."""
    module = importlib.import_module("strategist.answers.solution")

    def other(*given: Any) -> Outcome:
        outcome = evaluate(*given)
        (name, by), *_ = change.items()
        return dataclasses.replace(outcome, **{name: getattr(outcome, name) + by})

    point = random_read_point(1, 0)
    choose(point)
    monkeypatch.setattr(module, "evaluate", other)
    with pytest.raises(DisagreementError):
        choose(point)


@pytest.mark.parametrize("ask", [choose, assess_fully, trace_frontier, compare_techniques])
@pytest.mark.parametrize("aim", ["survey", "expected"])
def test_seconds_are_those_that_it_took(ask: Callable[..., Any], aim: str) -> None:
    point = random_read_point(1, 0)
    point = dataclasses.replace(point, policy=dataclasses.replace(point.policy, aim=aim))
    begun = time.monotonic()
    answer = ask(point).to_json()
    passed = time.monotonic() - begun + 0.001  # they are rounded
    told = [answer[key] for key in ("seconds", "assessed_seconds") if key in answer]
    assert told
    assert all(0 <= seconds <= passed for seconds in told)


@pytest.mark.parametrize(
    ("missed", "said"),
    [
        (0, "Then an acceptance run of 59 passes (accept)."),
        (18, "at a rate that you can live with: 30 % of passes had a miss here."),
    ],
)
def test_the_next_step_is_a_run_that_the_read_point_can_pass(missed: int, said: str) -> None:
    passes = [[("3001", True, [None if p < missed else -50.0])] for p in range(60)]
    point = ReadPoint(survey_of([20.0], passes), surveyed_policy())  # type: ignore[arg-type]
    assert choose(point).to_json()["headline"]["next_step"].endswith(said)
