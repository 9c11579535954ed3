import numpy as np
import pytest
from scipy import stats

from strategist.errors import InputError
from strategist.trust import intervals
from strategist.trust.intervals import clopper_pearson, rate_sentence


def test_the_plain_sentence():
    assert rate_sentence(0, 60) == "0 missed in 60: the true rate may be up to 4.9 %"
    assert rate_sentence(60, 60).endswith("up to 100 %")
    assert "nothing is known" in rate_sentence(0, 0)


def test_per_cent_is_rounded_to_the_careful_side():
    assert [intervals.percent_up(x) for x in (0.0487, 0.151, 0.000998, 0.0, 1.0, 0.05)] == [
        *("4.9 %", "16 %", "0.100 %", "0 %", "100 %", "5.0 %")
    ]
    assert [intervals.percent_down(x) for x in (0.0487, 0.159, 1.0)] == ["4.8 %", "15 %", "100 %"]


def test_a_share_of_two_figures_stays_what_it_is():
    """100 × 0.07 is 7.000000000000001 and 100 × 0.29 is 28.999999999999996 in floating point."""
    for hundredths in range(1, 100):
        figures = f"{hundredths}.0 %" if hundredths < 10 else f"{hundredths} %"
        assert intervals.percent_up(hundredths / 100) == figures
        assert intervals.percent_down(hundredths / 100) == figures


def test_no_trials_is_not_a_rate_of_zero():
    rate = clopper_pearson(0, 0)
    assert rate.rate is None and (rate.low, rate.high) == (0.0, 1.0)
    assert intervals.upper_bound(0, 0) == 1.0 and intervals.lower_bound(0, 0) == 0.0


def test_one_sided_bounds_turn_the_binomial_tail():
    """At the upper bound, as few events as seen have a chance of 5 %; at the lower, as many."""
    high, low = intervals.upper_bound(3, 40), intervals.lower_bound(3, 40)
    assert stats.binom.cdf(3, 40, high) == pytest.approx(0.05, rel=1e-6)
    assert stats.binom.sf(2, 40, low) == pytest.approx(0.05, rel=1e-6)


@pytest.mark.parametrize("trials", [1, 2, 59, 743, 60_000])
@pytest.mark.parametrize("confidence", [0.5, 0.95, 0.999])
def test_exact_intervals_are_those_of_scipy(trials: int, confidence: float):
    few = {0, 1, 2, trials // 3, trials - 1, trials}
    bounds = {
        "two-sided": lambda k: clopper_pearson(k, trials, confidence),
        "less": lambda k: intervals.upper_bound(k, trials, confidence),
        "greater": lambda k: intervals.lower_bound(k, trials, confidence),
    }
    for events in (k for k in few if k <= trials):
        for side, ours in bounds.items():
            asked = stats.binomtest(events, trials, alternative=side)
            ends = asked.proportion_ci(confidence, "exact")
            low, high = pytest.approx(ends.low, abs=1e-11), pytest.approx(ends.high, abs=1e-11)
            found = ours(events)
            if side == "two-sided":
                assert found.low == low and found.high == high
            else:
                assert found == (high if side == "less" else low)


def test_clopper_pearson_covers_at_least_what_it_says():
    """Exact coverage, summed over all outcomes, for a few true rates."""
    found = [clopper_pearson(k, 30) for k in range(31)]
    for true in (0.01, 0.05, 0.2, 0.5):
        holds = [rate.low <= true <= rate.high for rate in found]
        assert stats.binom.pmf(np.arange(31), 30, true) @ np.array(holds) >= 0.95


def test_trials_of_which_a_part_counts_say_less() -> None:
    """None of 60 that count as 6: 1 - 0.05^(1/6) at most, and the sentence says so."""
    assert intervals.upper_bound(0, 60, part=0.1) == pytest.approx(1 - 0.05 ** (1 / 6))
    assert intervals.lower_bound(60, 60, part=0.1) == pytest.approx(0.05 ** (1 / 6))
    sentence = rate_sentence(0, 60, "passes with a miss", part=0.1)
    assert "60 (neighbours are alike, they count as 6): the true rate may be up to 40 %" in sentence
    third, whole = clopper_pearson(6, 60, part=1 / 3), clopper_pearson(2, 20)
    assert (third.low, third.high) == pytest.approx((whole.low, whole.high))
    assert (third.events, third.trials, third.rate) == (6, 60, 0.1)


@pytest.mark.parametrize(
    ("events", "trials", "column"),
    [
        (-1, 5, "events"),
        (6, 5, "events"),
        (1.5, 5, "events"),
        (0, -1, "trials"),
        (0, True, "trials"),
    ],
)
def test_counts_that_cannot_be(events, trials, column):
    with pytest.raises(InputError) as caught:
        clopper_pearson(events, trials)
    assert caught.value.faults[0].column == column


@pytest.mark.parametrize("confidence", [0, 1, 95, float("nan"), "0.95", True])
def test_a_confidence_that_cannot_be(confidence):
    with pytest.raises(InputError, match="confidence"):
        intervals.upper_bound(0, 10, confidence)


def test_a_rate_in_words_never_needs_an_exponent():
    """All of 2, none of 2, and one of 60: rounded outward, whole at 100 %."""
    assert intervals.interval_words(intervals.clopper_pearson(2, 2)) == "15 to 100 %"
    assert intervals.interval_words(intervals.clopper_pearson(0, 2)) == "0 to 85 %"
    assert intervals.interval_words(intervals.clopper_pearson(1, 60)) == "0.042 to 9.0 %"
    assert [intervals.percent(x) for x in (0.0, 0.0167, 0.375, 1.0)] == [
        "0 %",
        "1.7 %",
        "38 %",
        "100 %",
    ]
