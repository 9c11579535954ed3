"""Intervals of sums over passes: exact where exact ones are known, wide enough elsewhere."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from strategist.errors import InputError
from strategist.trust import by_pass
from strategist.trust.by_pass import missed_rate, stray_count
from strategist.trust.intervals import Rate, clopper_pearson
from tests.bench.intervals import FEW, MISSED, STRAY, covered


@pytest.mark.parametrize("reported", [0, 1, 7, 59, 60])
def test_one_stray_a_pass_is_clopper_and_pearson(reported: int) -> None:
    found = stray_count([1] * reported + [0] * (60 - reported), [1] * 60)
    exact = clopper_pearson(reported, 60)
    assert (found.low, found.high) == pytest.approx((exact.low, exact.high), abs=1e-9)
    assert found.rate == reported / 60


def test_a_rack_that_comes_whole_is_that_many_times_clopper_and_pearson() -> None:
    """Twenty strays at once in 6 of 60 passes, which is all that were presented."""
    counts = [20] * 6 + [0] * 54
    found, exact = stray_count(counts, counts), clopper_pearson(6, 60)
    assert (found.low, found.high) == pytest.approx((20 * exact.low, 20 * exact.high))
    assert found.low < 2 < found.high


def test_where_all_strays_are_reported_the_upper_end_is_above_the_count() -> None:
    """Their number in further passes is not known, though that of these is."""
    counts = np.random.default_rng(3).poisson(2, 60)
    found = stray_count(counts, counts)
    assert found.rate is not None
    assert found.high > 1.1 * found.rate and found.low < found.rate / 1.1


def test_where_nothing_was_seen_the_upper_end_is_not_0() -> None:
    """No stray of three in each of 60 passes: three times the bound of none in 60. And none were
    there at all: a single one may come."""
    bound = clopper_pearson(0, 60).high
    assert stray_count([0] * 60, [3] * 60).high == pytest.approx(3 * bound)
    assert stray_count([0] * 60, [0] * 60).high == pytest.approx(bound)
    assert stray_count([0] * 60, [3] * 60).low == 0


def test_without_passes_nothing_is_known() -> None:
    none = Rate(0, 0, None, 0.0, 1.0, 0.9, "Clopper-Pearson", 0.0)
    assert missed_rate([], [], 0.9) == missed_rate([0, 0], [0, 0], 0.9) == none
    found = stray_count([], [], 0.9)
    assert (found.events, found.trials, found.rate, found.effective_passes) == (0, 0, None, None)
    assert (found.low, found.high, found.confidence) == (0.0, np.inf, 0.9)


def test_a_load_of_a_quarter_of_the_most_says_what_may_happen_to_it() -> None:
    """Three of four fail, beside one each of two sixteens: one more of four is all. Of three the
    load is too small, and one more of sixteen is an eighth."""
    at = by_pass._worst(np.array([3.0, 1.0, 1.0]), np.array([4.0, 16.0, 16.0]))
    below = by_pass._worst(np.array([3.0, 1.0, 1.0]), np.array([3.0, 16.0, 16.0]))
    assert (at, below) == (16.0, 2.0)


def test_the_largest_number_seen_once_may_not_be_the_largest() -> None:
    """Of ten passes one presents 20 strays and the others 4: up to 36 may come; where two do, 20 is
    the most. Nothing is reported in either."""
    once, twice = stray_count([0] * 10, [20] + [4] * 9), stray_count([0] * 10, [20, 20] + [4] * 8)
    bound = clopper_pearson(0, 10).high
    assert (once.high, twice.high) == pytest.approx((36 * bound, 20 * bound))


def test_a_single_burst_tells_little_of_its_size() -> None:
    """Ten unlisted strays in one of 40 passes: the next burst may be far larger. The same number
    in each of three passes says that it is a rack."""
    once = stray_count([10] + [0] * 39, [10] + [0] * 39)
    assert once.high > 1.5 * 20 * clopper_pearson(1, 40).high
    rack = stray_count([10] * 3 + [0] * 37, [10] * 3 + [0] * 37)
    assert rack.high == pytest.approx(10 * clopper_pearson(3, 40).high)
    spread = stray_count([1, 3, 26] + [0] * 37, [1, 3, 26] + [0] * 37)
    assert spread.rate == rack.rate and spread.high > 2 * rack.high


def test_tags_that_fail_together_widen_the_interval() -> None:
    """4 missed of 300 either in one pass or in four: the first says less."""
    together = missed_rate([4] + [0] * 59, [5] * 60)
    apart = missed_rate([1] * 4 + [0] * 56, [5] * 60)
    assert together.rate == apart.rate == pytest.approx(4 / 300)
    assert together.high > 1.5 * apart.high
    assert apart.high == pytest.approx(clopper_pearson(4, 300).high, rel=0.35)


def ends_by_hand(missed: list[int], load: int, part: float) -> tuple[float, float]:
    """Of passes with the same load: the wider of exact ends at the trials that independent tags
    with as much spread would be, and of beta quantiles with one pass more, at the worst."""
    n, x = len(missed), np.array(missed, float)
    p, free = x.mean() / load, part * n - 1
    trials = p * (1 - p) / (x.var(ddof=1) / load**2 / n / part)
    trials *= (stats.t.ppf(0.975, n * load - 1) / stats.t.ppf(0.975, free)) ** 2
    trials = min(trials, part * n * load)
    hit = p * trials
    ends = [stats.beta.ppf(0.025, hit, trials - hit + 1)]
    ends += [stats.beta.ppf(0.975, hit + 1, trials - hit)]
    worse = min(x.max() + 1, load)
    better = max(x.min() - 1, 0)
    for more, tail, wider in ((better, 0.025, min), (worse, 0.975, max)):
        whole = part * n + 1
        q = (part * x.sum() + more) / whole / load
        squares = part * ((x - q * load) ** 2).sum() + (more - q * load) ** 2
        both = q * (1 - q) / (squares / whole / load**2 / (whole + 1)) - 1
        at = tail > 0.5
        ends[at] = wider(ends[at], stats.beta.ppf(tail, q * both, (1 - q) * both))
    return ends[0], ends[1]


@pytest.mark.parametrize("part", [1.0, 0.6])
@pytest.mark.parametrize("missed", [[0, 1, 0, 2, 0, 0, 1, 0], [3, 0, 5, 1, 0, 4], [1, 2, 2, 1, 2]])
def test_the_interval_of_missed_tags_is_that_of_its_formula(missed: list[int], part: float) -> None:
    found = missed_rate(missed, [10] * len(missed), part=part)
    assert (found.low, found.high) == pytest.approx(ends_by_hand(missed, 10, part))


def test_nothing_missed_counts_each_pass_once() -> None:
    found = missed_rate([0] * 60, [5] * 60)
    assert (found.events, found.trials, found.effective_passes) == (0, 300, 60)
    assert found.high == pytest.approx(clopper_pearson(0, 60).high)
    assert missed_rate([5] * 60, [5] * 60).low == pytest.approx(clopper_pearson(60, 60).low)


def test_passes_without_wanted_tags_do_not_count() -> None:
    assert missed_rate([1, 0, 0, 0], [2, 3, 0, 0]) == missed_rate([1, 0], [2, 3])
    assert missed_rate([0], [0]).rate is None and missed_rate([], []).high == 1


def test_passes_of_which_a_part_counts_say_less() -> None:
    missed, presented = [0, 1, 0, 2, 0, 0, 1, 0] * 5, [5] * 40
    for call in (missed_rate, stray_count):
        whole, fifth = call(missed, presented), call(missed, presented, part=0.2)
        assert fifth.low < whole.low and fifth.high > whole.high
        assert (fifth.rate, fifth.effective_passes) == (whole.rate, 8)


@pytest.mark.parametrize("call", [missed_rate, stray_count])
def test_a_pass_that_reports_more_than_it_presented_is_refused(call) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError, match="events_by_pass"):
        call([6], [5])
    with pytest.raises(InputError, match="one count for each of the 2 passes"):
        call([0], [5, 5])


@pytest.mark.parametrize("words", [words for words in STRAY if not words.startswith("(")])
@pytest.mark.parametrize("passes", [40, 60])
def test_strays_a_pass_hold_the_truth(words: str, passes: int) -> None:
    """95 % intervals of 300 drawn surveys hold the true rate in 93 % at least."""
    found = covered(STRAY[words], ("stray_per_pass", "stray_by_pass"), passes, 300, old=False)
    assert min(now.share for _, now in found.values()) >= 0.93


@pytest.mark.parametrize("words", list(MISSED))
@pytest.mark.parametrize("passes", [FEW, 50])
def test_missed_tags_hold_the_truth(words: str, passes: int) -> None:
    """Twelve passes, too, and where large loads miss more."""
    found = covered(MISSED[words], ("missed_by_tag", "missed_by_pass"), passes, 300, old=False)
    assert min(now.share for _, now in found.values()) >= 0.93
