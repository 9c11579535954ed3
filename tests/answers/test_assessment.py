"""The one verb compares every answer with the independent evaluator."""

from __future__ import annotations

import dataclasses
import importlib
from typing import Any

import pytest

from strategist import choose
from strategist.errors import DisagreementError
from strategist.trust.evaluate import Outcome, evaluate
from tests.optimise.made import random_read_point


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
