"""Losses by peaks of many presentations at once: held against the evaluator, one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strategist.answers.solution import Options, solve
from strategist.optimise.strategy import Strategy
from strategist.radio.possible import Possible
from strategist.survey.policy import Limits
from strategist.survey.profile import peaks
from strategist.trust.at_peaks import AtPeaks
from strategist.trust.evaluate import evaluate
from tests.bench.drawn import drawn_read_point


@pytest.mark.parametrize("name", ["sorting-belt", "clean-gate"])
def test_it_finds_what_the_evaluator_finds(name: str) -> None:
    point = drawn_read_point(name, 6, 3)
    limits = Limits(missed_rate_max=0.001, stray_rate_max=0.01)
    survey, policy, weights = point.survey, point.policy, point.policy.loss
    drawn = [Possible(survey, (1,)).survey(0), survey]
    best = solve(point, Options(method="search")).strategy
    for strategy in (best, Strategy((20.0,)), Strategy((18.0, 24.0, 30.0), 2, -55.0)):
        at = AtPeaks(survey, replace(policy, limits=limits), strategy)
        lost, excess = at.lost(np.array([peaks(one) for one in drawn]))
        every, rates = [], []
        for one in drawn:
            outcome = evaluate(one, policy, strategy)
            rates.append((outcome.missed_rate, outcome.stray_rate))
            every.append(
                [weights.missed * len(p.missed) + weights.stray * len(p.stray)
                 for p in outcome.by_pass]
            )  # fmt: skip
        assert np.allclose(lost, np.mean(every, axis=0))
        assert excess == pytest.approx(limits.excess(*np.mean(rates, axis=0)))
        if len(strategy.levels_dbm) == 1:
            level = int(np.flatnonzero(survey.levels_dbm == strategy.levels_dbm[0])[0])
            wanted = np.bincount(survey.roster_pass, survey.roster_wanted) * weights.missed
            assert np.allclose(wanted + at.weighed(peaks(survey))[:, level], every[1])
