"""Intervals and acceptance against published values (all V: scipy and statsmodels agree)."""

import json

import numpy as np
import pytest
from sklearn.metrics import roc_auc_score

import strategist
from strategist.__main__ import main
from strategist.optimise.strategy import Strategy
from strategist.survey import rssi
from strategist.survey.policy import Policy
from strategist.survey.records import ReadPoint
from strategist.trust import acceptance, intervals
from strategist.trust.evaluate import evaluate
from strategist.trust.rates import rates_of
from tests.optimise.made import survey_of

close = pytest.approx

NEWCOMBE = [  # Newcombe 1998, Table I (the citation from memory); 10/20 computed
    (81, 263, (0.2527, 0.3676)),
    (15, 148, (0.0578, 0.1617)),
    (0, 20, (0.0, 0.1684)),
    (1, 29, (0.0009, 0.1776)),
    (10, 20, (0.2720, 0.7280)),
]


@pytest.mark.parametrize(("events", "trials", "exact"), NEWCOMBE)
def test_two_sided_intervals(events, trials, exact):
    """Newcombe 1998, Table I (from memory)."""
    clopper = intervals.clopper_pearson(events, trials)
    assert (clopper.low, clopper.high) == close(exact, abs=6e-5)


@pytest.mark.parametrize(
    ("trials", "bound"), [(30, 0.09503), (100, 0.02951), (1000, 0.002991), (3000, 0.000998)]
)
def test_rule_of_three(trials, bound):
    """Hanley and Lippman-Hand 1983: 1 - 0.05^(1/n), about 3/n."""
    found = intervals.upper_bound(0, trials)
    assert found == close(bound, abs=6e-6)
    assert found == close(3 / trials, rel=0.06)


ZERO_FAILURES = [
    (0.95, {0.90: 29, 0.95: 59, 0.99: 299, 0.995: 598, 0.999: 2995, 0.9999: 29956}),
    (0.90, {0.90: 22, 0.95: 45, 0.99: 230, 0.995: 460, 0.999: 2302}),
    (0.99, {0.90: 44, 0.95: 90, 0.99: 459, 0.995: 919, 0.999: 4603}),
]


@pytest.mark.parametrize(
    ("confidence", "reliability", "passes"),
    [(c, r, n) for c, row in ZERO_FAILURES for r, n in row.items()],
)
def test_zero_failure_plans(confidence, reliability, passes):
    """n = ceil(ln(1 - C) / ln R)."""
    plan = acceptance.plan_acceptance(1 - reliability, confidence)
    assert (plan.passes, plan.allowed_failures) == (passes, 0)


@pytest.mark.parametrize(
    ("limit", "passes"), [(0.05, (59, 93, 124, 153)), (0.01, (299, 473, 628, 773))]
)
def test_plans_with_failures_allowed(limit, passes):
    """95 % confidence, 0 to 3 failures; 59, 93, 124 are the classic 95/95 table."""
    found = acceptance.plans(limit, 0.95, (0, 1, 2, 3))
    assert tuple(plan.passes for plan in found) == passes


# Hanley and McNeil 1982, CT ratings 1 (surely normal) to 5 (surely abnormal)
NORMAL = np.repeat([1, 2, 3, 4, 5], [33, 6, 6, 11, 2])
ABNORMAL = np.repeat([1, 2, 3, 4, 5], [3, 2, 2, 11, 33])


def test_area_under_the_curve_and_its_error():
    """Hanley and McNeil 1982: 58 normal and 51 abnormal images, A .893, standard error .032."""
    found = rssi.area(ABNORMAL, NORMAL)
    assert (found.wanted, found.stray) == (51, 58)
    assert found.area * 51 * 58 == close(2642)
    assert found.area == close(0.893171, abs=5e-7)
    assert found.error == close(0.0325, abs=5e-5)


def test_area_like_the_libraries_examples():
    """scikit-learn: y 0 0 1 1, score .1 .4 .35 .8 gives .75. scipy: U = 17 of 5 x 4 pairs."""
    assert rssi.area([0.35, 0.8], [0.1, 0.4]).area == close(0.75)
    assert rssi.area([19, 22, 16, 29, 24], [20, 11, 17, 12]).area == close(17 / 20)


def test_the_error_of_an_area_is_near_delongs():
    """DeLong's error of the same ratings is .03072 (V: computed apart from the formula of Hanley
    and McNeil, which is a little wider); our own keeps to the formula."""
    assert 0.03072 < rssi.area(ABNORMAL, NORMAL).error < 1.06 * 0.03072


def test_area_with_ties_is_that_of_scikit_learn():
    scores = np.concatenate([NORMAL, ABNORMAL])
    truth = np.repeat([0, 1], [len(NORMAL), len(ABNORMAL)])
    assert rssi.area(ABNORMAL, NORMAL).area == close(roc_auc_score(truth, scores))


@pytest.mark.parametrize(
    ("cutoff", "found_rate", "false_rate"), [(4, 0.8627, 0.2241), (5, 0.6471, 0.0345)]
)
def test_rates_of_single_cutoffs(cutoff, found_rate, false_rate):
    """The same ratings as RSSI (-70 + 5 r dBm), one image a pass, through evaluation and rates.

    Youden's J is best at 4: .6386.
    """
    passes = [[(f"30{i:02X}", True, [-70.0 + 5 * r])] for i, r in enumerate(ABNORMAL)]
    passes += [[(f"35{i:02X}", False, [-70.0 + 5 * r])] for i, r in enumerate(NORMAL)]
    survey = survey_of([20.0], passes)
    strategy = Strategy((20.0,), 1, -70.0 + 5 * cutoff)
    outcome = evaluate(survey, Policy(), strategy)
    missed = rates_of(outcome).missed_by_tag
    assert 1 - missed.rate == close(found_rate, abs=5e-5)
    assert outcome.stray / len(NORMAL) == close(false_rate, abs=5e-5)
    if cutoff == 4:
        assert 1 - missed.rate - outcome.stray / len(NORMAL) == close(0.6386, abs=5e-5)


@pytest.mark.parametrize(("failures", "passes"), [(0, 59), (1, 93), (2, 124), (3, 153)])
def test_the_classic_95_95_table_on_the_command_line(capsys, failures, passes):
    """59, 93, 124 passes for 0, 1, 2 failures (and 153 for 3), as a user gets them."""
    argv = ["accept", "--allowed-failures", str(failures), "--out", "-"]
    assert main(argv) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["passes"], told["allowed_failures"]) == (passes, failures)


def test_a_result_carries_the_published_interval():
    """0 missed in 20 passes: 0 to .1684 (Newcombe 1998, Table I, from memory); the upper bound of
    30 passes without a miss is .09503 (Hanley and Lippman-Hand 1983), said as 9.6 %."""
    for passes, low, high in ((20, 0.0, 0.1684), (30, None, None)):
        survey = survey_of([20.0], [[("30", True, [-50.0])] for _ in range(passes)])
        evaluation = strategist.evaluate_at(ReadPoint(survey, Policy()), Strategy((20.0,)))
        told = evaluation.to_json()["rates"]
        if high is not None:
            rate = told["missed_by_tag"]
            assert (rate["low"], rate["high"]) == close((low, high), abs=6e-5)
        else:
            assert told["sentences"][0].endswith("in 30: the true rate may be up to 9.6 %")
