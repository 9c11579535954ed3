import itertools
from functools import lru_cache

import numpy as np
import pytest

from strategist.radio.dwell import nearest_q, step_seconds
from strategist.radio.timing import LINK_PROFILES, LinkProfile

PROFILE = LinkProfile(12.5, 2.0, 50.0, miller=2)


def test_nearest_q():
    assert [nearest_q(n) for n in (0, 1, 2, 3, 5, 6, 16, 22, 23, 100)] == [
        *(0, 0, 1, 2, 2, 3, 4, 4, 5, 7)
    ]


def test_a_step_without_tags_is_one_empty_slot():
    step = step_seconds(0, [], PROFILE)
    assert step.expected_s == pytest.approx((PROFILE.query_us + PROFILE.empty_slot_us) / 1e6)
    assert step.worst_s == pytest.approx(step.expected_s)


def test_one_tag_by_hand():
    """Q = 0: one slot, one read; a mask adds its Select and 2 RTcal."""
    step = step_seconds(1, [(32, 8)], PROFILE, overhead_s=0.5)
    select = PROFILE.select_us(8, 32) + 75
    by_hand = 0.5 + (select + PROFILE.query_us + PROFILE.read_slot_us) / 1e6
    assert step.expected_s == pytest.approx(by_hand)
    assert step.select_s == pytest.approx(select / 1e6)


def test_two_tags_by_hand():
    """Q = 1: both are read with chance 1/2, else none is: two rounds on average (geometric), and
    99 % of steps end within 7 (1 - 2^-7 = 0.992)."""
    step = step_seconds(2, [], PROFILE)
    failed = PROFILE.query_us + PROFILE.query_rep_us
    failed += PROFILE.empty_slot_us + PROFILE.collided_slot_us
    good = PROFILE.query_us + PROFILE.query_rep_us + 2 * PROFILE.read_slot_us
    assert step.rounds == pytest.approx(2, abs=4 * np.sqrt(2 / 1000))
    assert step.expected_s == pytest.approx((failed + good) / 1e6, rel=0.05)
    assert (good + 5 * failed) / 1e6 <= step.worst_s + 1e-12
    assert step.worst_s <= (good + 8 * failed) / 1e6


@lru_cache
def exact_expected_us(tags: int) -> float:
    """Every way in which the tags can choose slots, round after round, written out."""
    if tags == 0:
        return 0.0
    slots = 2 ** nearest_q(tags)
    ways = list(itertools.product(range(slots), repeat=tags))
    length, onward, unchanged = 0.0, 0.0, 0
    for way in ways:
        held = [way.count(slot) for slot in range(slots)]
        length += PROFILE.query_us + (slots - 1) * PROFILE.query_rep_us
        for count in held:
            length += (PROFILE.empty_slot_us, PROFILE.read_slot_us, PROFILE.collided_slot_us)[
                min(count, 2)
            ]
        if 1 in held:
            onward += exact_expected_us(tags - held.count(1))
        else:
            unchanged += 1
    return (length + onward) / (len(ways) - unchanged)


@pytest.mark.parametrize("tags", [1, 2, 3, 4, 5])
def test_simulated_steps_agree_with_every_way_written_out(tags):
    """Within four standard errors of 1000 runs, whose spread is at most 31 % of the mean."""
    found = step_seconds(tags, [], PROFILE).expected_s * 1e6
    assert found == pytest.approx(exact_expected_us(tags), rel=0.04)


def test_one_tag_whose_reads_fail_by_hand():
    """Two of five fail: 1 / 0.6 rounds on average, and 0.4^5 is the first power below 1 %."""
    step = step_seconds(1, [], PROFILE, failed_reads=0.4)
    one = (PROFILE.query_us + PROFILE.read_slot_us) / 1e6
    assert step.rounds == pytest.approx(1 / 0.6, abs=4 * np.sqrt(0.4 / 0.36 / 1000))
    assert step.expected_s == pytest.approx(step.rounds * one)
    assert 5 * one - 1e-12 <= step.worst_s <= 6 * one + 1e-12


def plain_step_us(tags: int, failed: float, random: np.random.Generator) -> float:
    """A step walked slot by slot, apart from the product's way: its length in us."""
    left, length = tags, 0.0
    while left:
        slots = 2 ** nearest_q(left)
        counts = np.bincount(random.integers(0, slots, left), minlength=slots)
        length += PROFILE.query_us + (slots - 1) * PROFILE.query_rep_us
        for count in counts.tolist():
            length += (PROFILE.empty_slot_us, PROFILE.read_slot_us, PROFILE.collided_slot_us)[
                min(count, 2)
            ]
            if count == 1 and random.random() >= failed:
                left -= 1
    return length


@pytest.mark.parametrize("tags", [3, 12])
def test_steps_with_failed_reads_keep_to_the_99_per_cent(tags):
    """A tenth of reads fail: 2000 steps walked apart exceed the worst in about 1 %, and the worst
    without failures in more than a third."""
    random = np.random.default_rng(77)
    steps = np.array([plain_step_us(tags, 0.1, random) for _ in range(2000)]) / 1e6
    found = step_seconds(tags, [], PROFILE, failed_reads=0.1)
    assert 0.002 <= (steps > found.worst_s + 1e-12).mean() <= 0.02
    assert found.expected_s == pytest.approx(steps.mean(), rel=0.04)
    ideal = step_seconds(tags, [], PROFILE)
    assert (steps > ideal.worst_s + 1e-12).mean() > 1.5 * (steps > found.worst_s + 1e-12).mean()


def test_a_large_field_stops_when_one_in_a_thousand_is_unread():
    """Of 2000 tags two may be left, of 1999 one. Nobody collides alone, so one left never happens
    and 1999 must all be read: the step of 2000 has fewer rounds."""
    assert step_seconds(2000, [], PROFILE).rounds < step_seconds(1999, [], PROFILE).rounds - 0.5


def test_more_tags_more_masks_and_slower_links_take_longer():
    times = [step_seconds(n, [], PROFILE).expected_s for n in (0, 1, 2, 5, 20, 100)]
    assert times == sorted(times)
    masks = [step_seconds(5, [(32, 16)] * n, PROFILE).expected_s for n in range(4)]
    assert np.diff(masks) == pytest.approx([masks[1] - masks[0]] * 3)
    fast, slow = (step_seconds(30, [], LINK_PROFILES[name]) for name in ("fm0-640", "miller4-256"))
    assert slow.expected_s > 3 * fast.expected_s


def test_worst_is_not_below_expected_and_grows_with_the_quantile():
    worst = [step_seconds(20, [], PROFILE, quantile=q).worst_s for q in (0.9, 0.99, 0.999)]
    assert worst == sorted(worst)
    assert worst[0] >= step_seconds(20, [], PROFILE).expected_s


def test_the_same_input_gives_the_same_answer():
    assert step_seconds(37, [(32, 8)], PROFILE) == step_seconds(37, [(32, 8)], PROFILE)
