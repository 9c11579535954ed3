"""Orders and sets of many reads, held against the general ways."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strategist.survey import many
from strategist.survey.many import by_cell, distinct, order_by, strongest
from strategist.survey.profile import peaks
from strategist.survey.records import Floats
from tests.optimise.made import random_read_point


def columns(seed: int, rows: int) -> list[Floats]:
    rng = np.random.default_rng(seed)
    times = np.round(rng.random(rows), 2)
    times[rng.random(rows) < 0.2] = np.nan
    return [rng.integers(0, 9, rows) / 2 - 60, rng.integers(1, 4, rows).astype(float), times]


@pytest.mark.parametrize("rows", [0, 1, 400])
@pytest.mark.parametrize("most", [2**62, 50])
def test_rows_stand_as_a_sort_by_column_after_column_has_them(
    rows: int, most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(many, "_MOST", most)
    place, more = np.random.default_rng(1).integers(0, 30, rows), columns(2, rows)
    found, expected = order_by(place, *more), np.lexsort((*more[::-1], place))
    for column in (place, *more):
        np.testing.assert_array_equal(column[found], column[expected])
    again = order_by(place[found], *(column[found] for column in more))
    np.testing.assert_array_equal(more[0][found][again], more[0][expected])


@pytest.mark.parametrize("below", [50, 10**6])
def test_distinct_numbers_are_those_that_sorting_finds(below: int) -> None:
    numbers = np.random.default_rng(3).integers(0, 50, 200)
    np.testing.assert_array_equal(distinct(numbers, below), np.unique(numbers))


@pytest.mark.parametrize("seed", range(6))
def test_the_strongest_reads_do_not_depend_on_the_order_of_the_reads(seed: int) -> None:
    survey = random_read_point(seed).survey
    survey = survey.with_reads(np.repeat(np.arange(len(survey.read_tag)), 3))
    rssi = survey.read_rssi + np.random.default_rng(seed).integers(0, 4, len(survey.read_tag))
    survey = replace(survey, read_rssi=np.minimum(rssi, 0.0))
    mixed = survey.with_reads(np.random.default_rng(seed).permutation(len(survey.read_tag)))
    sorted_ = mixed.with_reads(np.arange(len(rssi))[by_cell(mixed)])
    assert by_cell(sorted_) == slice(None)
    for one, other in zip(vars(strongest(mixed)), vars(strongest(sorted_)), strict=True):
        np.testing.assert_array_equal(
            getattr(strongest(mixed), one), getattr(strongest(sorted_), other)
        )
    table = np.where(mixed.tried[mixed.roster_pass], -np.inf, np.nan)
    for p, level, tag, dbm in zip(
        mixed.read_pass, mixed.read_level, mixed.read_tag, mixed.read_rssi, strict=True
    ):
        entry = (mixed.roster_pass == p) & (mixed.roster_tag == tag)
        table[entry, level] = np.maximum(table[entry, level], dbm)
    np.testing.assert_array_equal(peaks(mixed), table)
