"""Merging equal tags and passes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strategist.survey.profile import aggregate, peaks, turn_on
from tests.optimise.made import random_read_point, survey_of

READS = ("read_pass", "read_tag", "read_level", "read_rssi")


def test_equal_rows_are_told_as_numpy_tells_them() -> None:
    """Every row of the profile is one of the survey's, all stand in it, and with their number."""
    for seed in range(30):
        survey = random_read_point(seed, 2).survey
        klass = np.arange(len(survey.tags)) % 3
        drifted = np.where(survey.roster_wanted[:, None], -1.5, -0.0) * np.ones_like(peaks(survey))
        one, other = aggregate(survey, klass, drifted)
        table = np.column_stack(
            [
                survey.roster_pass,
                klass[survey.roster_tag],
                survey.roster_wanted,
                np.nan_to_num(peaks(survey), nan=99.0, neginf=-999.0),
                drifted + 0.0,
            ]
        )
        kinds, count = np.unique(table[:, 1:], axis=0, return_counts=True)
        made = np.column_stack(
            [
                one.row_class,
                one.row_wanted,
                np.nan_to_num(one.rssi, nan=99.0, neginf=-999.0),
                other.rssi,
            ]
        )
        again, of_row = np.unique(made, axis=0, return_inverse=True)
        assert np.array_equal(again, kinds)
        tags = np.bincount(of_row.reshape(-1), one.row_count * one.pass_count[one.row_pass])
        assert np.array_equal(tags, count)
        assert not np.signbit(other.rssi[other.rssi == 0]).any()


def test_turn_on_is_the_lowest_level_read_and_a_gap_is_a_level_tried_above_it() -> None:
    """Entry by entry, where some reads and some pairs of pass and level are missing."""
    gaps = []
    for seed in range(30):
        survey, rng = random_read_point(seed, 2).survey, np.random.default_rng(seed)
        tried = rng.random(survey.tried.shape) < 0.8
        kept = tried[survey.read_pass, survey.read_level]
        reads = {name: getattr(survey, name)[kept] for name in READS}
        found = turn_on(replace(survey, tried=tried, **reads))
        rows = zip(*(reads[name].tolist() for name in READS), strict=True)
        read = {(p, tag, level): rssi for p, tag, level, rssi in rows}
        for entry, (p, tag) in enumerate(
            zip(survey.roster_pass.tolist(), survey.roster_tag.tolist(), strict=True)
        ):
            levels = [level for q, t, level in read if (q, t) == (p, tag)]
            first = min(levels, default=-1)
            above = range(first + 1, tried.shape[1]) if levels else ()
            assert found.level[entry] == first
            assert found.gap[entry] == any(tried[p, x] and x not in levels for x in above)
            if levels:
                assert found.rssi[entry] == read[p, tag, first]
                gaps.append((first, bool(found.gap[entry])))
            else:
                assert np.isnan(found.rssi[entry])
    assert {(0, True), (0, False), (1, True), (1, False)} <= set(gaps)


def test_strays_that_cost_nothing_below_a_read_stop_a_ladder_and_are_counted_apart() -> None:
    """One wanted tag, one stray that always counts, one that counts from a read of -60 dBm on."""
    survey = survey_of(
        [20.0, 23.0],
        [[("3001", True, [-70, -65]), ("3002", False, [-70, -65]), ("3003", False, [-65, -55])]],
    )
    free_below = np.array([-np.inf, -np.inf, -60.0])
    profile, _ = aggregate(survey, np.arange(3), peaks(survey), None, free_below)
    rows = zip(
        *(profile.row_class, profile.row_wanted, profile.row_count, profile.row_cost, profile.rssi),
        strict=True,
    )
    assert sorted((*map(int, row[:4]), *row[4].tolist()) for row in rows) == [
        (0, 1, 1, 1, -70.0, -65.0),
        (1, 0, 1, 1, -70.0, -65.0),
        (2, 0, 0, 1, -np.inf, -55.0),
        (2, 0, 1, 0, -65.0, -55.0),
    ]
