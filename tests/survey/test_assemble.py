"""What rows and files say together: read points, levels, tags off the roster, pairs not tried."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from strategist.errors import InputError
from strategist.survey.case import assemble
from strategist.survey.policy import Policy
from strategist.survey.reading import read_case
from strategist.survey.records import ReadPoint, Tag
from strategist.survey.site import Site
from strategist.survey.tables import table_from_csv, table_from_rows
from tests.survey.cases import READS, ROSTER, SITE, plain, write_case

OFF_ROSTER = READS + "gate,p2,15,3002,-70\ngate,p2,16,3003,-71\ngate,p2,16,3003,-72\n"


def read(folder: Path) -> ReadPoint:
    (point,) = read_case(folder).read_points
    return point


def site(rule: str) -> str:
    return SITE.replace("[15, 16]", f'[15, 16], "unlisted": "{rule}"')


def test_unlisted_tags_become_strays(tmp_path: Path) -> None:
    survey = read(write_case(tmp_path, reads=OFF_ROSTER, site=site("stray"))).survey
    assert [tag.epc for tag in survey.tags] == ["3001", "3002", "3003"]
    assert survey.roster_pass.tolist() == [0, 0, 1, 1, 1]
    assert survey.roster_tag.tolist() == [0, 1, 0, 1, 2]
    assert survey.roster_wanted.tolist() == [True, False, True, False, False]
    assert survey.roster_listed.tolist() == [True, True, True, False, False]


def test_ignored_tags_leave_no_trace_but_a_warning(tmp_path: Path) -> None:
    found = read(write_case(tmp_path / "a", reads=OFF_ROSTER, site=site("ignore")))
    assert plain(found.survey) == plain(read(write_case(tmp_path / "b")).survey)
    assert found.warnings[0].startswith("3 reads of 2 tags")


def test_unlisted_tags_are_faults_once_a_tag(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read_case(write_case(tmp_path, reads=OFF_ROSTER, site=site("error")))
    assert [(fault.line, fault.value) for fault in caught.value.faults] == [
        (6, "3002"),
        (7, "3003"),
    ]
    assert "2 such reads" in caught.value.faults[1].wrong


def test_levels_are_found_with_a_warning_and_tried_adds_silent_ones(tmp_path: Path) -> None:
    tried = "read_point,pass_id,power_dbm\n" + "".join(
        f"gate,p{p},{level}\n" for p in (1, 2) for level in (14, 15, 16)
    )
    bare = '{"read_points": {"gate": {}}}'
    without = read(write_case(tmp_path / "a", site=bare))
    assert without.survey.levels_dbm.tolist() == [15, 16]
    assert "the 2 found in reads.csv" in without.warnings[0]
    with_tried = read(write_case(tmp_path / "b", site=bare, tried=tried))
    assert with_tried.survey.levels_dbm.tolist() == [14, 15, 16]


def test_pairs_that_tried_does_not_list_are_untried(tmp_path: Path) -> None:
    tried = "read_point,pass_id,power_dbm\ngate,p1,15\ngate,p1,16\ngate,p2,16\ngate,p3,16\n"
    point = read(write_case(tmp_path, tried=tried))
    assert point.survey.tried.tolist() == [[True, True], [False, True], [False, True]]
    assert point.warnings == (
        "Passes without a roster row, taken as passes in which no listed tag was present: p3.",
    )


@pytest.mark.parametrize("power", ["15.5", "15.4", "16.3", "14.999", "15.000001"])
def test_a_read_off_every_level_is_a_fault_however_near_one_is(tmp_path: Path, power: str) -> None:
    reads = READS.replace("p1,15,", f"p1,{power},")
    with pytest.raises(InputError, match=rf'line 2.*"?{power}"?.*levels_dbm.*15, 16'):
        read_case(write_case(tmp_path, reads=reads))


def test_levels_that_no_read_names_count_as_not_surveyed_where_levels_are_predicted(
    tmp_path: Path,
) -> None:
    """15 and 16 dBm were read at, 15.5 was not: with predict_levels it is to be foretold, and a
    warning says so; without, it was tried and nothing was read."""
    levels = SITE.replace("[15, 16]", "[15, 15.5, 16]")
    asked = levels.replace("16]", '16], "predict_levels": true')
    found = read(write_case(tmp_path / "a", site=asked))
    assert found.survey.tried.tolist() == [[True, False, True]] * 2
    (warning,) = found.warnings
    assert warning.startswith("1 of 3 levels count as not surveyed") and "15.5 dBm" in warning
    plain_one = read(write_case(tmp_path / "b", site=levels))
    assert plain_one.survey.tried.all() and plain_one.warnings == ()
    whole = read(
        write_case(tmp_path / "c", site=SITE.replace("16]", '16], "predict_levels": true'))
    )
    assert whole.survey.tried.all() and whole.warnings == ()


def test_what_a_tag_carries_is_filled_in_from_any_row(tmp_path: Path) -> None:
    roster = (
        "read_point,pass_id,epc,role,tid,user,tag_type\n"
        "gate,p1,3001,wanted,,,\ngate,p1,3002,stray,,ab,\ngate,p2,3001,wanted,e280,,flat\n"
    )
    survey = read(write_case(tmp_path, roster=roster)).survey
    assert survey.tags == (Tag("3001", "E280", None, "flat"), Tag("3002", None, "AB", None))


def test_read_points_come_in_the_order_of_the_site_then_by_name(tmp_path: Path) -> None:
    names = ["gate", "gates", "b10", "b2"]
    case = read_case(
        write_case(
            tmp_path,
            READS + "".join(READS.split("\n", 1)[1].replace("gate", name) for name in names[1:]),
            ROSTER + "".join(ROSTER.split("\n", 1)[1].replace("gate", name) for name in names[1:]),
        )
    )
    assert [point.name for point in case.read_points] == ["gate", "b2", "b10", "gates"]
    assert 'lacks the read point "gates" (nearest: "gate")' in case.read_points[3].warnings[0]
    assert case.read_points[3].policy == Policy()


def test_one_read_point_can_be_asked_for_and_an_unknown_one_is_refused(tmp_path: Path) -> None:
    folder = write_case(tmp_path, site=SITE.replace('"gate"', '"empty": {}, "gate"'))
    assert [point.name for point in read_case(folder, "gate").read_points] == ["gate"]
    with pytest.raises(InputError, match="no row of read point"):
        read_case(folder)
    with pytest.raises(InputError, match='nearest: "gate"'):
        read_case(folder, "gat")


def test_json_rows_give_the_same_case_as_the_files(tmp_path: Path) -> None:
    header, *lines = (line.split(",") for line in READS.splitlines())
    reads = [dict(zip(header, line, strict=True)) for line in lines]
    reads = [row | {"power_dbm": int(row["power_dbm"]), "antenna": None} for row in reads]
    tables = {
        "reads": table_from_rows(reads, "reads", "reads"),
        "roster": table_from_csv(ROSTER.encode(), "roster", "roster"),
    }
    policies = Site({"gate": Policy(levels_dbm=(15.0, 16.0))})
    (point,) = assemble(policies, tables).read_points
    assert plain(point.survey) == plain(read(write_case(tmp_path)).survey)


def test_json_rows_are_refused_by_row_and_key() -> None:
    rows = [
        {"read_point": "gate", "pass_id": "p1", "power_dbm": 15, "epc": 3001, "rssi_dbm": -50},
        {"read_point": "gate", "pass_id": "p1", "power_dbm": True, "epc": "3001", "rssi_dbm": -50},
        {"read_point": "gate", "pass_id": "p1", "power_dbm": 15, "epc": "3001"},
    ]
    tables = {
        "reads": table_from_rows(rows, "reads", "reads"),
        "roster": table_from_csv(ROSTER.encode(), "roster", "roster"),
    }
    with pytest.raises(InputError) as caught:
        assemble(Site({}), tables)
    assert [(fault.line, fault.column, fault.value) for fault in caught.value.faults] == [
        (1, "epc", "3001"),
        (2, "power_dbm", "True"),
        (3, "rssi_dbm", ""),
    ]


@pytest.mark.parametrize("given", [0, 1, 4])
def test_numbers_that_some_rows_give_are_kept_and_the_others_not_known(
    given: int, tmp_path: Path
) -> None:
    head, *rows = READS.splitlines()
    lines = [f"{head},t_s", *(f"{row},{n / 2 if n < given else ''}" for n, row in enumerate(rows))]
    found = read(write_case(tmp_path, reads="\n".join(lines) + "\n")).survey.read_t_s
    if not given:
        assert found is None
        return
    assert found is not None and len(found) == len(rows)
    known = sorted(found[~np.isnan(found)].tolist())
    assert known == [n / 2 for n in range(min(given, len(rows)))]
