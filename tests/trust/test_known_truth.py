"""Three hundred surveys of a site whose true rates are known in closed form: what intervals hold.

A wanted tag and a stray come by in each pass, at one level, with normal RSSI; the choice is a
cutoff alone, made here by counting. So the true rates of any cutoff are two normal tails.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pytest
from scipy.stats import norm

from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Loss, Policy
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import evaluate
from strategist.trust.folds import CrossValidation, cross_validate, without_folds
from strategist.trust.intervals import Rate, clopper_pearson
from tests.optimise.made import survey_of

WANTED, STRAY, SPREAD = -55.0, -62.0, 4.0
POLICY = Policy(loss=Loss(2.0, 1.0), allow=("cutoff",))
SURVEYS, PASSES = 300, 30


@dataclass(frozen=True)
class Seen:
    cross: CrossValidation
    missed: float  # true rates of the answer
    stray: float
    folds: float  # true loss a pass, mean over the strategies of the folds


def drawn(rng: np.random.Generator) -> ReadPoint:
    wanted = rng.normal(WANTED, SPREAD, PASSES).round(3).tolist()
    stray = rng.normal(STRAY, SPREAD, PASSES).round(3).tolist()
    passes = [[("30", True, [w]), ("35", False, [s])] for w, s in zip(wanted, stray, strict=True)]
    return ReadPoint(survey_of([20.0], passes), POLICY)


def chosen(point: ReadPoint) -> Strategy:
    """The cutoff with the least loss, in the middle of the range that loses no more."""
    survey = point.survey
    wanted = survey.roster_wanted[np.lexsort((survey.roster_tag, survey.roster_pass))]
    rssi = survey.read_rssi[np.lexsort((survey.read_tag, survey.read_pass))]
    ends = np.sort(rssi)
    cutoffs = (ends[1:] + ends[:-1]) / 2
    below = rssi[None, :] < cutoffs[:, None]
    losses = (2 * (below & wanted) + (~below & ~wanted)).sum(axis=1)
    return Strategy((20.0,), 1, float(cutoffs[losses.argmin()]))


def truth(strategy: Strategy) -> tuple[float, float]:
    cutoff = strategy.cutoff_dbm
    return norm.cdf(cutoff, WANTED, SPREAD), norm.sf(cutoff, STRAY, SPREAD)


def judged(rng: np.random.Generator) -> Seen:
    point = drawn(rng)
    strategy = chosen(point)
    outcome = evaluate(point.survey, POLICY, strategy)
    cross = cross_validate(point, strategy, outcome, [chosen(p) for p in without_folds(point)])
    assert cross is not None
    losses = [2 * missed + stray for missed, stray in map(truth, cross.strategies)]
    return Seen(cross, *truth(strategy), float(np.mean(losses)))


@pytest.fixture(scope="module")
def surveys() -> list[Seen]:
    rng = np.random.default_rng(20)
    return [judged(rng) for _ in range(SURVEYS)]


def share(rates: list[Rate], truths: list[float]) -> float:
    pairs = zip(rates, truths, strict=True)
    return float(np.mean([rate.low <= true <= rate.high for rate, true in pairs]))


def alone(rate: Rate) -> Rate:
    return clopper_pearson(rate.events, rate.trials)


def test_held_out_intervals_hold_the_answers_true_rates(surveys: list[Seen]) -> None:
    """95 % are asked for. The exact intervals of the held-out counts alone hold too seldom: folds
    trade misses for strays otherwise than the answer does. Little width buys the rest."""
    for name, truths in (
        ("missed", [s.missed for s in surveys]),
        ("stray", [s.stray for s in surveys]),
    ):
        rates = [getattr(s.cross.held_out, f"{name}_by_pass") for s in surveys]
        assert share(rates, truths) >= 0.93
        assert share([alone(rate) for rate in rates], truths) < share(rates, truths) - 0.03
        assert width(rates) < 1.2 * width([alone(rate) for rate in rates])
    strays = [s.cross.held_out.stray_by_pass for s in surveys]
    assert share([alone(rate) for rate in strays], [s.stray for s in surveys]) < 0.93


def test_held_out_losses_are_unbiased_and_fitted_ones_flatter(surveys: list[Seen]) -> None:
    """Against the true loss of the folds' strategies, and against that of the answer."""
    held = np.array([s.cross.loss_per_pass.held_out - s.folds for s in surveys])
    fitted = np.array([s.cross.loss_per_pass.fitted - 2 * s.missed - s.stray for s in surveys])
    assert abs(held.mean()) < 3 * error(held)
    assert fitted.mean() < -10 * error(fitted)


def width(rates: list[Rate]) -> float:
    return float(np.mean([rate.high - rate.low for rate in rates]))


def error(values: npt.NDArray[np.float64]) -> float:
    """Standard error of the mean."""
    return float(values.std(ddof=1)) / len(values) ** 0.5
