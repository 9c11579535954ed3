"""Intervals and acceptance against published values (all V: scipy and statsmodels agree)."""

import pytest

from strategist.trust import acceptance, intervals

close = pytest.approx

NEWCOMBE = [  # Newcombe 1998, Table I (the citation from memory); 10/20 computed
    (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
    (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
    (0, 20, (0.0, 0.1611), (0.0, 0.1684)),
    (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
    (10, 20, (0.2993, 0.7007), (0.2720, 0.7280)),
]


@pytest.mark.parametrize(("events", "trials", "wilson", "exact"), NEWCOMBE)
def test_two_sided_intervals(events, trials, wilson, exact):
    """Newcombe 1998, Table I (from memory)."""
    score = intervals.wilson(events, trials)
    clopper = intervals.clopper_pearson(events, trials)
    assert (score.low, score.high) == close(wilson, abs=6e-5)
    assert (clopper.low, clopper.high) == close(exact, abs=6e-5)


@pytest.mark.parametrize(
    ("events", "trials", "low", "high"), [(81, 263, 0.2535, 0.3682), (0, 20, 0.0, 0.2005)]
)
def test_wilson_with_continuity_correction(events, trials, low, high):
    """Newcombe 1998, Table I (from memory)."""
    found = intervals.wilson(events, trials, continuity=True)
    assert (found.low, found.high) == close((low, high), abs=6e-5)


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
    assert (plan.passes, plan.failures_allowed) == (passes, 0)


@pytest.mark.parametrize(
    ("limit", "passes"), [(0.05, (59, 93, 124, 153)), (0.01, (299, 473, 628, 773))]
)
def test_plans_with_failures_allowed(limit, passes):
    """95 % confidence, 0 to 3 failures; 59, 93, 124 are the classic 95/95 table."""
    found = acceptance.plans(limit, 0.95, (0, 1, 2, 3))
    assert tuple(plan.passes for plan in found) == passes
