"""Pairs not surveyed are named, and left out only in the way the planner chose."""

from __future__ import annotations

from pathlib import Path

import pytest

from strategist.errors import InputError
from strategist.radio.complete import complete
from strategist.survey.reading import read_case
from strategist.survey.records import ReadPoint
from tests.survey.cases import READS, SITE, write_case

TRIED = "read_point,pass_id,power_dbm\ngate,p1,15\ngate,p1,16\ngate,p2,16\n"


def read(folder: Path, untried: str, tried: str | None = TRIED, reads: str = READS) -> ReadPoint:
    site = SITE.replace("[15, 16]", f'[15, 16], "untried": "{untried}"')
    return read_case(write_case(folder, reads=reads, site=site, tried=tried)).read_points[0]


def test_a_full_survey_stays_as_it_is(tmp_path: Path) -> None:
    point = read(tmp_path, "refuse", tried=None)
    assert point.survey.untried_pairs() == []
    assert complete(point) is point


def test_refusal_names_pairs_and_choices(tmp_path: Path) -> None:
    point = read(tmp_path, "refuse")
    assert point.survey.untried_pairs() == [("p2", 15.0)]
    with pytest.raises(InputError) as caught:
        complete(point)
    message = str(caught.value)
    for word in ("leave_out_level", "leave_out_pass", "p2 at 15 dBm", "was not surveyed"):
        assert word in message


def test_levels_or_passes_are_left_out_with_a_warning(tmp_path: Path) -> None:
    by_level = complete(read(tmp_path, "leave_out_level"))
    assert by_level.survey.levels_dbm.tolist() == [16.0]
    assert by_level.survey.pass_ids == ("p1", "p2")
    assert by_level.survey.read_rssi.tolist() == [-48.0, -60.5, -49.0]
    assert "1 of 2 levels left out" in by_level.warnings[-1]
    by_pass = complete(read(tmp_path, "leave_out_pass"))
    assert by_pass.survey.pass_ids == ("p1",)
    assert by_pass.survey.tried.all()
    assert by_pass.warnings[-1].endswith(": p2.")


def test_nothing_left_is_refused(tmp_path: Path) -> None:
    reads = READS.replace("gate,p2,16,3001,-49\n", "").replace("gate,p1,15,3001,-50\n", "")
    point = read(tmp_path, "leave_out_pass", TRIED.replace("gate,p1,15\n", ""), reads)
    with pytest.raises(InputError, match="each of the 2 passes"):
        complete(point)
