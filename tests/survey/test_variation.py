"""How far presentations may vary is read from the survey: wide where they are, none where not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strategist.survey.records import Floats, Survey, Tag
from strategist.survey.variation import variation_of

LEVELS = np.arange(10.0, 31.0)


def survey_of(turn_on: Floats, rssi: Floats, same_tag: bool = False) -> Survey:
    """One wanted tag a pass, read from its turn-on (dBm) upward, 1 dB a dB from its RSSI there."""
    passes = len(turn_on)
    tag = np.zeros(passes, np.int64) if same_tag else np.arange(passes)
    at, level = np.nonzero(turn_on[:, None] <= LEVELS)
    return Survey(
        read_point="made",
        levels_dbm=LEVELS.copy(),
        pass_ids=tuple(f"p{p}" for p in range(passes)),
        tags=tuple(Tag(f"{t:04X}") for t in range(tag.max() + 1)),
        roster_pass=np.arange(passes),
        roster_tag=tag,
        roster_wanted=np.ones(passes, bool),
        roster_listed=np.ones(passes, bool),
        read_pass=at,
        read_level=level,
        read_tag=tag[at],
        read_rssi=(rssi[at] + LEVELS[level] - np.ceil(turn_on)[at]).round(6),
        tried=np.ones((passes, len(LEVELS)), bool),
    )


def drawn(spread_db: float, passes: int = 40) -> tuple[Floats, Floats]:
    rng = np.random.default_rng(5)
    turn_on = 20.3 + spread_db * rng.standard_normal(passes)
    return turn_on, np.round(-60 - (turn_on - 20) + 0.2 * rng.standard_normal(passes), 1)


def test_kernel_grows_with_the_spread_of_tags() -> None:
    kernels = [variation_of(survey_of(*drawn(spread))).link_db[0] for spread in (0.05, 1.5, 4.0)]
    assert kernels[0] <= 0.25
    assert kernels[0] < kernels[1] < kernels[2]


def test_clusters_are_not_smeared() -> None:
    """Tags at three places far apart, each tight: narrower than their common spread by far."""
    turn_on, _ = drawn(0.1, 30)
    turn_on = turn_on + np.repeat([-8.0, 0.0, 8.0], 10)
    found = variation_of(survey_of(turn_on, -60 - (turn_on - 20)))
    assert found.link_db[0] <= 0.5 < turn_on.std()


@pytest.mark.parametrize("passes", [1, 2])
def test_few_passes_leave_presentations_as_they_are(passes: int) -> None:
    found = variation_of(survey_of(*drawn(4.0, passes)))
    assert (found.link_db[0], found.rssi_db[0]) == (0.0, 0.0)


def test_a_tag_that_stays_is_judged_by_its_other_passes() -> None:
    """One tag in all passes: its own spread over them counts; nothing else is there to judge by."""
    tight, wide = (
        variation_of(survey_of(*drawn(spread), same_tag=True)).link_db[0] for spread in (0.05, 4.0)
    )
    assert tight <= 0.25 < wide


def test_reads_that_fail_above_turn_on_are_counted() -> None:
    whole = survey_of(*drawn(1.0))
    assert variation_of(whole).fails[0] == 0.0
    keep = np.random.default_rng(3).random(len(whole.read_rssi)) > 0.2
    some = replace(
        whole,
        read_pass=whole.read_pass[keep],
        read_level=whole.read_level[keep],
        read_tag=whole.read_tag[keep],
        read_rssi=whole.read_rssi[keep],
    )
    assert 0.12 < variation_of(some).fails[0] < 0.26


def test_a_single_level_above_turn_on_tells_the_whole_rate() -> None:
    """Read at 29 dBm and not at 30: every read there is above turn-on, and every one failed. Read
    at 30 too, none did; and where nothing is above turn-on, nothing is known to fail."""
    whole = survey_of(np.array([29.0]), np.array([-60.0]))
    below = whole.with_reads(whole.read_level < len(LEVELS) - 1)
    top = whole.with_reads(whole.read_level == len(LEVELS) - 1)
    assert [variation_of(one).fails.tolist() for one in (below, whole, top)] == [[1], [0], [0]]


@pytest.mark.parametrize(("climb", "slope"), [(-0.5, 0.0), (0.4, 0.4), (1.0, 1.0), (1.6, 1.0)])
def test_rssi_follows_power_by_at_most_a_db_a_db(climb: float, slope: float) -> None:
    survey = survey_of(*drawn(1.0))
    over = LEVELS[survey.read_level] - 20.0
    steeper = replace(survey, read_rssi=-60.0 + climb * over)
    assert variation_of(steeper).slope == pytest.approx(slope)
