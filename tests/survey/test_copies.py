"""Copies of a survey: the same passes and tags, drawn anew within what may vary."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strategist.survey.copies import copies_for, drawn_copies, peaks_of_copies
from strategist.survey.profile import peaks
from strategist.survey.records import Survey
from strategist.survey.variation import Variation, variation_of
from tests.bench.drawn import drawn_read_point
from tests.survey.cases import plain
from tests.survey.test_variation import LEVELS, drawn, survey_of


def still(survey: Survey) -> Variation:
    """A variation in which nothing varies."""
    one = variation_of(survey)
    none = np.zeros_like(one.fails)
    return replace(one, link_db=none, rssi_db=none, fails=none)


def test_the_first_copy_is_the_survey() -> None:
    survey = drawn_read_point("soiled-chute", 8, 1).survey
    pooled = drawn_copies(survey, variation_of(survey), 3, (7,))
    entries, passes = len(survey.roster_pass), len(survey.pass_ids)
    assert np.array_equal(peaks(pooled)[:entries], peaks(survey))
    for number in range(3):
        part = slice(number * entries, (number + 1) * entries)
        assert np.array_equal(pooled.roster_pass[part], survey.roster_pass + number * passes)
        assert np.array_equal(pooled.roster_tag[part], survey.roster_tag)
    assert not np.array_equal(peaks(pooled)[entries : 2 * entries], peaks(survey))


def test_same_seed_same_copies_whatever_their_number() -> None:
    survey = drawn_read_point("shelf-cabinet", 6, 2).survey
    vary = variation_of(survey)
    assert plain(drawn_copies(survey, vary, 3, (7,))) == plain(drawn_copies(survey, vary, 3, (7,)))
    fewer, more = (peaks(drawn_copies(survey, vary, count, (7,))) for count in (2, 4))
    assert np.array_equal(fewer, more[: len(fewer)])
    other = peaks(drawn_copies(survey, vary, 2, (8,)))
    assert not np.array_equal(fewer, other)


@pytest.mark.parametrize("name", ["soiled-chute", "shelf-cabinet"])
def test_peaks_of_copies_are_those_of_the_copies(name: str) -> None:
    """Also where a tag is read more than once at a level."""
    once = drawn_read_point(name, 8, 1).survey
    twice = [
        np.concatenate([column, column])
        for column in (once.read_pass, once.read_level, once.read_tag)
    ]
    several = once.of_numbers(
        *twice,
        np.concatenate([once.read_rssi, once.read_rssi - 3.5]),
        tried=once.tried,
        predicted=None,
    )
    for survey in (once, several):
        vary = variation_of(survey)
        every = peaks(drawn_copies(survey, vary, 3, (7,), own=False))
        found = peaks_of_copies(survey, vary, 3, (7,))
        assert np.array_equal(found.reshape(every.shape), every)


def test_where_nothing_varies_only_gaps_are_filled() -> None:
    survey = drawn_read_point("sorting-belt", 10, 3).survey
    found = peaks(drawn_copies(survey, still(survey), 1, (1,), own=False))
    before = peaks(survey)
    read = np.isfinite(before)
    assert np.array_equal(found[read], before[read])
    silent_below = ~np.logical_or.accumulate(read, axis=1)
    assert np.isneginf(found[silent_below]).all()


def test_a_stronger_link_turns_on_lower_and_is_heard_as_much_stronger_again() -> None:
    """RSSI moves by the shift in link and by what the power at the tag is stronger: on a level with
    the same reads, 2 dB a dB. In the mean over copies turn-on is where it was."""
    survey = survey_of(*drawn(0.5, 12))
    vary = replace(still(survey), link_db=np.array([2.0]))
    copies = 200
    found = peaks(drawn_copies(survey, vary, copies, (4,), own=False))
    on = np.isfinite(found)
    first = LEVELS[on.argmax(axis=1)].reshape(copies, -1)
    before = LEVELS[np.isfinite(peaks(survey)).argmax(axis=1)]
    assert abs((first - before).mean()) < 0.2
    assert 1.7 < (first - before).std() < 2.3
    top = found[:, -1].reshape(copies, -1) - peaks(survey)[:, -1]
    assert np.corrcoef(-(first - before).ravel(), top.ravel())[0, 1] > 0.95
    assert 3.6 < top.std() < 4.4


def test_copies_hold_three_hundred_passes_together_within_3_and_30_of_them() -> None:
    assert [copies_for(passes) for passes in (1, 9, 101, 1000)] == [30, 30, 3, 3]
    for passes in range(10, 101):
        assert copies_for(passes) * passes <= 300 < (copies_for(passes) + 1) * passes
