"""Surveys that may be: what was tried stays, and what was not comes as often as it should."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from strategist.radio.possible import Possible, _gone, possible_surveys
from strategist.radio.tag_link import Law
from strategist.survey.profile import peaks
from strategist.survey.records import Floats, Survey
from tests.bench.drawn import drawn_read_point
from tests.optimise.made import survey_of


def in_part(survey: Survey, keep: Floats) -> Survey:
    tried = np.tile(np.isin(survey.levels_dbm, keep), (len(survey.pass_ids), 1))
    kept = survey.with_reads(tried[survey.read_pass, survey.read_level])
    return replace(kept, tried=tried)


@pytest.fixture(scope="module")
def whole() -> Survey:
    return drawn_read_point("soiled-chute", 40, 77).survey


@pytest.mark.parametrize("keep", [[10, 17, 23, 30], [10, 14, 18, 22, 26, 30], [20]])
def test_what_was_tried_stays(whole: Survey, keep: Floats) -> None:
    part = in_part(whole, keep)
    drawn = possible_surveys(part, 3, (1,))
    known = part.tried[part.roster_pass]
    for one in drawn:
        assert one.tried.all() and one.predicted is None
        assert np.array_equal(peaks(one)[known], peaks(part)[known])
    assert not np.array_equal(peaks(drawn[0]), peaks(drawn[1]))


def test_a_draw_depends_on_its_seed_and_number_alone(whole: Survey) -> None:
    part = in_part(whole, np.array([10.0, 20.0, 30.0]))
    few, many = possible_surveys(part, 2, (5,)), possible_surveys(part, 4, (5,))
    for one, other in zip(few, many, strict=False):
        assert np.array_equal(one.read_rssi, other.read_rssi)
    assert not np.array_equal(possible_surveys(part, 1, (6,))[0].read_rssi, few[0].read_rssi)


@pytest.mark.parametrize("keep", [[10, 17, 23, 30], [10, 14, 18, 22, 26, 30]])
def test_cells_are_read_as_often_as_they_are_said_to_be(whole: Survey, keep: Floats) -> None:
    """Held against the survey itself: by how sure the draws are, and in RSSI."""
    part = in_part(whole, keep)
    drawn = np.array([peaks(one) for one in possible_surveys(part, 20, (2,))])
    asked = ~part.tried[part.roster_pass]
    said = np.isfinite(drawn).mean(axis=0)[asked]
    real = np.isfinite(peaks(whole))[asked]
    for low in (0.0, 0.2, 0.4, 0.6, 0.8):
        some = (said >= low) & (said <= low + 0.2)
        assert abs(real[some].mean() - said[some].mean()) < 0.2
    assert ((said - real) ** 2).mean() < 0.06  # a coin has 0.25, the share alone 0.2
    both = np.isfinite(drawn) & np.isfinite(peaks(whole)) & asked
    off = (drawn - np.where(np.isfinite(peaks(whole)), peaks(whole), 0.0))[both]
    assert abs(off.mean()) < 0.3 and off.std() < 2.0


def test_what_is_sure_stays_so() -> None:
    """A tag silent at the highest level tried is silent below and above; one read on both sides of
    a level is read there in nearly all draws, between the two in RSSI."""
    curves: list[list[float | None]] = [[None] * 4, [-60.0, None, -50.0, -49.0]]
    entries = [(f"30{n:02X}", n == 1, curve) for n, curve in enumerate(curves)]
    survey = survey_of([10.0, 15.0, 20.0, 21.0], [list(entries)])
    part = in_part(survey, np.array([10.0, 20.0]))
    drawn = np.array([peaks(one) for one in possible_surveys(part, 200, (3,))])
    assert not np.isfinite(drawn[:, 0]).any()
    between = drawn[:, 1, 1]
    assert 0.9 < np.isfinite(between).mean() < 1.0, "a read may fail"
    assert -57 < between[np.isfinite(between)].mean() < -53


def test_a_silent_tag_may_be_one_whose_read_failed() -> None:
    """Where many tags were first read at the highest level, a few of those never read would have
    been, too: as many as fail there."""
    late: list[float | None] = [None, None, -60.0]
    silent: list[float | None] = [None, None, None]
    entries = [(f"30{n:02X}", True, late if n < 40 else silent) for n in range(50)]
    part = in_part(survey_of([10.0, 15.0, 20.0], [entries]), np.array([10.0, 20.0]))
    drawn = np.array([peaks(one) for one in possible_surveys(part, 200, (4,))])
    read = np.isfinite(drawn[:, :, 1])
    assert 0.3 < read[:, :40].mean() < 0.7, "turn-on is anywhere between"
    assert 0.01 < read[:, 40:].mean() < 0.1, "1 in 50 fails, of 40, beside 10 that never read"


def test_a_silent_tag_is_not_taken_for_one_of_another_role() -> None:
    """Tags first read at the highest level are wanted; strays were never read, and stay silent."""
    late: list[float | None] = [None, None, -60.0]
    entries = [(f"30{n:02X}", n < 40, late if n < 40 else [None] * 3) for n in range(50)]
    part = in_part(survey_of([10.0, 15.0, 20.0], [entries]), np.array([10.0, 20.0]))
    drawn = np.array([peaks(one) for one in possible_surveys(part, 50, (4,))])
    assert np.isfinite(drawn[:, :40, 1]).any()
    assert not np.isfinite(drawn[:, 40:]).any()


@pytest.mark.parametrize("fails", [0.02, 0.4, 0.9])
def test_silent_levels_below_the_first_read_are_bounds_or_failed_reads(fails: float) -> None:
    """Tags first read at 16 dBm whose turn-on the law puts at 11 ± 3: each stretch between levels,
    from above, against all that lies below it, which a failed read must account for."""
    curve = [None, None, None, -60.0]
    tags = [(f"{n:04X}", True, curve) for n in range(1500)]
    survey = survey_of([10.0, 12.0, 14.0, 16.0], [tags])
    law = Law(0.5, np.array([11.0 - 0.5 * (16.0 + 60.0)]), np.array([3.0]))
    links = replace(Possible(survey, (1,))._links, law=law, fails=fails)
    found = links._turn_on(np.random.default_rng(8))
    at = stats.norm(11.0, 3.0).cdf
    left = 1.0
    for low, high in ((14.0, 16.0), (12.0, 14.0), (10.0, 12.0)):
        inside = at(high) - at(low)
        share = left * inside / (inside + fails * at(low))
        assert np.mean((found > low) & (found <= high)) == pytest.approx(share, abs=0.04)
        left -= share
    assert np.mean(found <= 10.0) == pytest.approx(left, abs=0.04)


def test_the_share_of_tags_that_are_gone_at_the_highest_level_tried() -> None:
    """Of those read below it, less the reads that fail."""
    no, nan = -np.inf, np.nan
    gone, there, late, never = (
        [-60.0, no, nan],
        [-60.0, -58.0, nan],
        [no, -60.0, nan],
        [no, no, nan],
    )
    for rows, share in (
        ([gone], 1.0),
        ([gone, there], 0.5),
        ([gone, there, there, gone, gone, late, never], 0.6),
        ([there], 0.0),
        ([late, never], 0.0),
    ):
        found = _gone(np.array(rows), 0.02)
        assert found == pytest.approx(1 - 0.02 / share if share else 0.0)
    assert _gone(np.array([gone, there]), 0.75) == 0.0
