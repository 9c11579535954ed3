"""Merging equal tags and passes."""

from __future__ import annotations

import numpy as np

from strategist.survey.profile import aggregate, peaks
from tests.optimise.made import random_read_point


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
