import json

import numpy as np
import pytest

from strategist.errors import InputError
from strategist.trust import acceptance
from strategist.trust.acceptance import (
    AcceptancePlan,
    judge_run,
    operating_characteristic,
    plan_acceptance,
    plan_for_good_site,
    plans,
)
from strategist.trust.intervals import lower_bound, upper_bound


def test_operating_characteristic_by_hand():
    """Two passes, one failure allowed: 1 - p²; none allowed: (1 - p)²."""
    assert operating_characteristic(2, 1, [0, 0.3, 1]) == pytest.approx((1, 0.91, 0))
    assert operating_characteristic(2, 0, [0.3]) == pytest.approx((0.49,))


def test_a_plan_is_the_shortest_that_shows_the_limit():
    for plan in plans(0.03, 0.9, (0, 1, 4)):
        assert plan.acceptance_probability(0.03) <= 0.1
        with pytest.raises(InputError, match="too few to show"):
            AcceptancePlan(0.03, 0.9, plan.passes - 1, plan.allowed_failures)


def test_a_plan_at_the_very_edge_of_rounding():
    """0.1 chance of a success each: one pass shows 90 % at confidence 90 %, exactly."""
    assert plan_acceptance(0.9, 0.9).passes == 1
    assert plan_acceptance(0.5, 0.75).passes == 2


def test_producers_risk_falls_as_failures_are_allowed():
    risks = [plan.producers_risk(0.005) for plan in plans(0.05, 0.95, range(6))]
    assert risks == sorted(risks, reverse=True)
    assert risks[0] == pytest.approx(1 - 0.995**59)


def test_the_plan_for_a_good_site():
    plan = plan_for_good_site(0.05, 0.01)
    assert plan.producers_risk(0.01) <= 0.1
    shorter = plan_acceptance(0.05, 0.95, plan.allowed_failures - 1)
    assert shorter.producers_risk(0.01) > 0.1
    assert plan_for_good_site(0.05, 0).allowed_failures == 0


def test_a_risk_that_a_plan_has_exactly_is_kept_and_a_hair_less_is_not():
    """59 passes refuse a site of 0.1 % with a chance of 1 − 0.999⁵⁹."""
    risk = 1 - 0.999**59
    assert plan_for_good_site(0.05, 0.001, risk_max=risk).allowed_failures == 0
    assert plan_for_good_site(0.05, 0.001, risk_max=risk - 1e-9).allowed_failures == 1


def test_a_plan_for_a_good_site_may_take_the_most_failures_and_none_beyond(monkeypatch):
    """A site of 1 % takes some failures; where so many are the most, that is the plan, and where
    one fewer is, there is none."""
    allowed = plan_for_good_site(0.05, 0.01).allowed_failures
    assert allowed > 1
    monkeypatch.setattr(acceptance, "_FAILURES_MAX", allowed)
    assert plan_for_good_site(0.05, 0.01).allowed_failures == allowed
    monkeypatch.setattr(acceptance, "_FAILURES_MAX", allowed - 1)
    with pytest.raises(InputError, match="well below"):
        plan_for_good_site(0.05, 0.01)


def test_no_true_rate_of_the_curve_is_above_1():
    """Twice a limit of 0.6 is more than all, and so is 1.5 times one of 0.999."""
    rates = [one.true_rate for one in plan_acceptance(0.6).operating_characteristic]
    assert rates == pytest.approx([0.06, 0.15, 0.3, 0.45, 0.6, 0.9, 1.0])
    last = plan_acceptance(0.999).operating_characteristic[-1]
    assert (last.true_rate, last.acceptance_probability) == (1.0, 0.0)


def test_a_lower_bound_at_the_limit_does_not_reject():
    """One failure in one pass: at 50 % confidence the rate is at least 0.5."""
    at, below = judge_run(0.5, 1, 1, 0.5), judge_run(0.499, 1, 1, 0.5)
    assert (at.lower, at.verdict, below.verdict) == (0.5, "inconclusive", "rejected")


def test_a_bound_that_is_the_limit_accepts():
    """None in three passes at confidence 1 − 0.78³: at most 22 %, but for rounding. And none in two
    that count as one, at 50 %."""
    three = judge_run(0.22, 0, 3, 0.525448)
    assert three.upper > 0.22 and three.upper == pytest.approx(0.22, abs=1e-12)
    half = judge_run(0.5, 0, 2, 0.5, part=0.5)
    assert (three.verdict, half.verdict, half.upper) == ("accepted", "accepted", 0.5)


def test_no_new_run_is_planned_for_more_failures_than_a_plan_may_have():
    """A thousand failures in 2000 passes show nothing of a limit of 50 %, nor do 1001."""
    most, more = (judge_run(0.5, failures, 2000) for failures in (1000, 1001))
    assert (most.verdict, more.verdict) == ("inconclusive", "inconclusive")
    assert "with at most 1000 failures would be accepted." in most.sentence
    assert "A new run" not in more.sentence


def test_the_sentence_says_how_a_read_point_ten_times_as_good_fares():
    """0.995⁵⁹ is 0.744; with one failure allowed, 93 passes accept it with 0.92."""
    assert (
        "A read point whose true failure rate is 0.5 % is accepted with probability 74 %."
        in plan_acceptance(0.05).sentence
    )
    one = plan_acceptance(0.05, 0.95, 1)
    assert "59 independent passes; accept if none of them fail." in plan_acceptance(0.05).sentence
    assert "93 independent passes; accept if at most 1 of them fail." in one.sentence
    chance = 0.995**93 + 93 * 0.005 * 0.995**92
    assert chance == pytest.approx(0.92, abs=5e-3)
    assert "0.5 % is accepted with probability 92 %" in one.sentence


def test_json_and_sentence():
    plan = plan_acceptance(0.05)
    told = json.loads(json.dumps(plan.to_json()))
    assert (told["passes"], told["allowed_failures"], told["miss_rate_max"]) == (59, 0, 0.05)
    curve = {
        row["true_rate"]: row["acceptance_probability"] for row in told["operating_characteristic"]
    }
    assert curve[0.05] == pytest.approx(0.95**59)
    assert "Run 59 independent passes" in told["sentence"]
    assert "at most 5 % with 95 % confidence" in told["sentence"]


def test_verdicts():
    assert judge_run(0.05, 0, 59).verdict == "accepted"
    assert judge_run(0.05, 0, 58).verdict == "inconclusive"
    assert judge_run(0.05, 9, 60).verdict == "rejected"
    assert judge_run(0.05, 0, 0).verdict == "inconclusive"
    assert "A new run of 93 passes with at most 1 failures" in judge_run(0.05, 1, 70).sentence
    assert "One-sided, 95 %" in judge_run(0.05, 9, 60).sentence


def test_a_run_that_keeps_its_plan_passes():
    for plan in plans(0.02, 0.9, (0, 1, 2, 5)):
        assert judge_run(0.02, plan.allowed_failures, plan.passes, 0.9).verdict == "accepted"
        assert judge_run(0.02, plan.allowed_failures + 1, plan.passes, 0.9).verdict != "accepted"


def test_the_verdict_follows_the_exact_bounds():
    for failures in range(21):
        found = judge_run(0.1, failures, 60)
        upper, lower = upper_bound(failures, 60), lower_bound(failures, 60)
        expected = "accepted" if upper <= 0.1 else "rejected" if lower > 0.1 else "inconclusive"
        assert (found.verdict, found.upper, found.lower) == (expected, upper, lower)


def test_a_bad_site_seldom_passes_and_a_site_at_the_limit_seldom_fails():
    generator = np.random.default_rng(3)
    verdicts = [judge_run(0.05, k, 124).verdict for k in range(125)]
    at_limit = [verdicts[k] for k in generator.binomial(124, 0.05, 4000)]
    assert at_limit.count("accepted") <= 0.06 * 4000
    assert at_limit.count("rejected") <= 0.06 * 4000


@pytest.mark.parametrize(
    ("call", "column"),
    [
        (lambda: plan_acceptance(0), "miss_rate_max"),
        (lambda: plan_acceptance(5), "miss_rate_max"),
        (lambda: plan_acceptance(float("nan")), "miss_rate_max"),
        (lambda: plan_acceptance(0.05, 95), "confidence"),
        (lambda: plan_acceptance(0.05, 0.95, -1), "allowed_failures"),
        (lambda: judge_run(0.05, 61, 60), "failures"),
        (lambda: judge_run(0.05, 1, -60), "passes"),
        (lambda: operating_characteristic(10, 1, [1.2]), "true_rates"),
        (lambda: plan_for_good_site(0.05, 0.06), "good_rate"),
    ],
)
def test_values_that_cannot_be(call, column):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.faults[0].column == column


EDGES = [  # a call with one value, its name, and the least and the greatest that it takes
    (lambda x: plan_acceptance(x, 0.5), "miss_rate_max", 1e-6, 0.999),
    (lambda x: plan_acceptance(0.5, x), "confidence", 0.5, 0.999999),
    (lambda x: plan_for_good_site(0.4, 0.0, risk_max=x), "risk_max", 0.001, 0.5),
    (lambda x: plan_for_good_site(0.4, x, risk_max=0.5), "good_rate", 0.0, None),
    (lambda x: operating_characteristic(3, 1, [x]), "true_rates", 0.0, 1.0),
    (lambda x: judge_run(0.1, x, 10), "failures", 0, 10),
    (lambda x: judge_run(0.1, 0, x), "passes", 0, 10**9),
    (lambda x: plan_acceptance(0.9, 0.5, x), "allowed_failures", 0, 1000),
]


@pytest.mark.parametrize(("call", "column", "least", "greatest"), EDGES)
def test_a_value_at_the_edge_is_taken_and_one_beyond_it_refused(call, column, least, greatest):
    hair = 1 if isinstance(least, int) else 1e-7
    ends = [(least, least - hair)]
    ends += [] if greatest is None else [(greatest, greatest + hair)]
    for edge, beyond in ends:
        call(edge)
        with pytest.raises(InputError) as caught:
            call(beyond)
        assert caught.value.faults[0].column == column


def test_passes_that_count_as_fewer_are_said_and_others_not():
    """Of 70 passes that count as 14, one failure shows less than of 70."""
    whole, fifth = judge_run(0.05, 1, 70), judge_run(0.05, 1, 70, part=0.2)
    assert "alike" not in whole.sentence
    assert "Neighbouring passes are alike: the 70 count as 14." in fifth.sentence
    assert fifth.upper > whole.upper and fifth.verdict == "inconclusive"
