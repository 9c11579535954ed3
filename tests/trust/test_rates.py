"""Rates of an outcome: what is counted, and which interval it gets."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Policy
from strategist.trust.evaluate import evaluate
from strategist.trust.intervals import Rate, clopper_pearson
from strategist.trust.rates import Rates, rates_of
from tests.optimise.made import survey_of


def rates(passes: list[list[tuple[str, bool, list[float | None]]]]) -> Rates:
    survey = survey_of([20.0], passes)
    return rates_of(evaluate(survey, Policy(), Strategy((20.0,), stop_after=9)))


def by_pass(events: int, passes: int) -> Rate:
    return replace(clopper_pearson(events, passes), effective_passes=passes)


def test_single_wanted_tags_have_exact_intervals() -> None:
    """One of 20 passes misses its tag, two report a stray, one of them two."""
    passes = [[("30", True, [-50.0 if p else None])] for p in range(20)]
    passes[3] += [("35", False, [-60.0])]
    passes[4] += [("35", False, [-60.0]), ("36", False, [-60.0])]
    found = rates(passes)
    assert found.missed_by_tag == found.missed_by_pass == by_pass(1, 20)
    assert found.stray_by_pass == by_pass(2, 20)
    each = found.stray_per_pass
    assert (each.events, each.trials, each.rate) == (3, 20, 0.15)
    assert each.low <= 0.15 <= each.high
    assert found.sentences[0].startswith("1 pass with a miss in 20: the true rate may be up to")
    assert found.sentences[1].startswith("2 passes with a stray in 20: the true rate may be up")
    assert json.loads(json.dumps(found.to_json()))["missed_by_pass"]["events"] == 1


def test_tags_that_fail_together_widen_the_interval() -> None:
    """Two of 20 passes lose all of their ten tags: 20 of 200, but no 200 independent trials."""
    passes = [
        [(f"30{t:02}", True, [None if p < 2 else -50.0]) for t in range(10)] for p in range(20)
    ]
    found = rates(passes)
    assert found.missed_by_tag.rate == pytest.approx(0.1)
    exact = clopper_pearson(20, 200)
    assert found.missed_by_tag.high - found.missed_by_tag.low > 1.5 * (exact.high - exact.low)
    assert "by pass" in found.missed_by_tag.method
    assert found.missed_by_pass == by_pass(2, 20)


def test_passes_without_wanted_tags_are_no_trials() -> None:
    found = rates([[("35", False, [-50.0])], [("30", True, [-50.0])]])
    assert (found.missed_by_tag.trials, found.missed_by_pass.trials) == (1, 1)
    assert found.stray_by_pass.trials == 2
