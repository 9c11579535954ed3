"""A case folder is read as it says, and a broken one ends in faults that say where and what."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from strategist.errors import InputError
from strategist.survey.reading import read_case
from strategist.survey.records import Tag
from tests.survey.cases import DATA, READS, ROSTER, SITE, broken_case, plain, write_case

# file: (line, column, value found) of each fault
FAULTS: dict[str, list[tuple[int | None, str | None, str]]] = {
    "reads_antenna_fraction.csv": [(2, "antenna", "1.5")],
    "reads_binary.csv": [(3, None, "byte 0x00 at offset 8")],
    "reads_both_powers.csv": [(1, None, "power_dbm and power_mw")],
    "reads_column_missing.csv": [(1, "rssi_dbm", "")],
    "reads_column_twice.csv": [(1, "epc", "2 times")],
    "reads_column_unknown.csv": [(1, None, "antena")],
    "reads_count_zero.csv": [(2, "reads", "0")],
    "reads_empty.csv": [(None, None, "")],
    "reads_epc_63_bytes.csv": [(2, "epc", "30" * 63)],
    "reads_epc_odd_digits.csv": [(2, "epc", "30012")],
    "reads_epc_prefix.csv": [(2, "epc", "0x3001")],
    "reads_fields_even_out.csv": [(2, None, "4 fields"), (4, None, "6 fields")],
    "reads_first_row_too_long_next_too_short.csv": [(2, None, "6 fields"), (3, None, "4 fields")],
    "reads_line_ends_mixed.csv": [(6, "power_dbm", "99")],
    "reads_level_not_surveyed.csv": [(2, "power_dbm", "17")],
    "reads_not_utf8.csv": [(3, None, "byte 0xe9 at offset 68")],
    "reads_nul_byte.csv": [(3, None, "byte 0x00 at offset 69")],
    "reads_only_blank_lines.csv": [(None, None, "")],
    "reads_pass_control_character.csv": [(2, "pass_id", "p\x1b[2J")],
    "reads_pass_empty.csv": [(2, "pass_id", " ")],
    "reads_pass_quoted_newline.csv": [(2, "pass_id", "p\n1"), (4, "power_dbm", "99")],
    "reads_power_mw_zero.csv": [(2, "power_mw", "0")],
    "reads_power_nan.csv": [(2, "power_dbm", "nan")],
    "reads_power_out_of_range.csv": [(3, "power_dbm", "41")],
    "reads_power_word.csv": [(2, "power_dbm", "True")],
    "reads_quote_open.csv": [(3, None, "unexpected end of data")],
    "reads_rssi_infinite.csv": [(2, "rssi_dbm", "-1e999")],
    "reads_rssi_missing.csv": [(2, "rssi_dbm", "")],
    "reads_rssi_positive.csv": [(2, "rssi_dbm", "50")],
    "reads_semicolons.csv": [(1, None, "read_point;pass_id;power_dbm;epc;rssi_dbm")],
    "reads_too_many_fields.csv": [(3, None, "6 fields")],
    "reads_too_many_fields_first.csv": [(2, None, "6 fields")],
    "reads_truncated.csv": [(3, None, "4 fields")],
    "roster_header_only.csv": [(None, None, "")],
    "roster_point_lacking.csv": [
        (None, "read_point", ""),
        (None, "read_points.door.levels_dbm", ""),
    ],
    "roster_role_unknown.csv": [(2, "role", "Wanted")],
    "roster_tag_twice.csv": [(4, "epc", "3001")],
    "roster_tid_differs.csv": [(3, "tid", "E29F")],
    "roster_tid_odd_digits.csv": [(2, "tid", "E28")],
    "roster_user_odd_digits.csv": [(2, "user", "00F"), (3, "user", "0x00")],
    "site_broken.json": [(1, None, "")],
    "site_key_twice.json": [(None, None, "gate")],
    "site_key_unknown.json": [(None, "read_points.gate.level_dbm", "level_dbm")],
    "site_levels_equal.json": [(None, "read_points.gate.levels_dbm", "[15, 15.00000001]")],
    "site_not_utf8.json": [(1, None, "byte 0xff")],
    "tried_header_only.csv": [(None, None, "")],
    "tried_level_not_surveyed.csv": [(5, "power_dbm", "18")],
    "tried_read_at_untried_pair.csv": [(5, "pass_id", "p2")],
}


def refused(folder: Path, read_point: str | None = None) -> InputError:
    with pytest.raises(InputError) as caught:
        read_case(folder, read_point)
    return caught.value


def test_every_bad_file_is_tested() -> None:
    assert {path.name for path in DATA.iterdir()} == set(FAULTS)


@pytest.mark.parametrize("name", FAULTS)
def test_bad_file_names_line_column_and_value(tmp_path: Path, name: str) -> None:
    faults = refused(broken_case(tmp_path, name)).faults
    assert [(fault.line, fault.column, fault.value) for fault in faults] == FAULTS[name]
    assert all(fault.allowed for fault in faults)


def test_small_case_becomes_the_arrays_worked_by_hand(tmp_path: Path) -> None:
    (point,) = read_case(write_case(tmp_path)).read_points
    assert plain(point.survey) == (
        "gate",
        [15.0, 16.0],
        ("p1", "p2"),
        (Tag("3001"), Tag("3002")),
        [0, 0, 1],
        [0, 1, 0],
        [True, False, True],
        [True, True, True],
        [0, 0, 0, 1],
        [0, 1, 1, 1],
        [0, 0, 1, 0],
        [-50.0, -48.0, -60.5, -49.0],
        [[True, True], [True, True]],
        None,
        *((), None, None, None, None, None),  # antennas; antenna, count, time, channel; dwell
        *((), (), None),  # condition, day, weight
    )
    assert point.warnings == ()


@pytest.mark.parametrize(
    "reads",
    [
        "\ufeff" + READS,
        READS.replace("\n", "\r\n"),
        READS.replace("\n", "\r"),
        READS.replace("\n", "\n\n"),
        READS.removesuffix("\n"),
        READS.replace("gate", '"gate"'),
        READS.replace(",", " , "),
        READS.replace("-50\n", "-5.0e1\n").replace("15", "+15.0000000001"),
    ],
    ids=["BOM", "CRLF", "CR", "blank lines", "no last newline", "quotes", "spaces", "figures"],
)
def test_ways_to_write_the_same_reads(tmp_path: Path, reads: str) -> None:
    expected = read_case(write_case(tmp_path / "a")).read_points[0].survey
    found = read_case(write_case(tmp_path / "b", reads=reads)).read_points[0].survey
    assert plain(found) == plain(expected)


def test_lines_are_right_after_quoted_newlines_and_blank_lines(tmp_path: Path) -> None:
    roster = (
        'read_point,pass_id,epc,role,"tag_type"\n\n'
        'gate,p1,3001,wanted,"a ""b"""\n\n\ngate,p2,XX,stray,\n'
    )
    (fault,) = refused(write_case(tmp_path, roster=roster)).faults
    assert (fault.line, fault.value) == (6, "XX")


def test_milliwatts_are_converted_to_hundredths_of_a_db(tmp_path: Path) -> None:
    # from the definition: 10·log10(30) = 14.7712…, 100 mW = 20 dBm
    reads = READS.replace("power_dbm", "power_mw").replace(",15,", ",30,").replace(",16,", ",100,")
    site = SITE.replace("[15, 16]", "[14.77, 20]")
    survey = read_case(write_case(tmp_path, reads=reads, site=site)).read_points[0].survey
    assert survey.levels_dbm.tolist() == [14.77, 20.0]
    assert survey.read_level.tolist() == [0, 1, 1, 1]


def test_a_column_that_is_missing_is_named_whatever_the_unit_of_power(tmp_path: Path) -> None:
    """Without any power, and with milliwatts but without RSSI."""
    none = READS.replace("power_dbm", "power")
    faults = refused(write_case(tmp_path / "a", reads=none)).faults
    assert ("power_dbm", "the column is missing") in [(one.column, one.wrong) for one in faults]
    in_mw = READS.replace("power_dbm", "power_mw").replace(",rssi_dbm", "")
    (fault,) = refused(write_case(tmp_path / "b", reads=in_mw)).faults
    assert (fault.line, fault.column, fault.allowed) == (1, "rssi_dbm", "a column rssi_dbm")


def milliwatts(folder: Path, mw: str, levels: str = '"levels_dbm": [15, 16]', **files: str) -> Path:
    """Reads at so many mW and at 40 mW, which is 16.02 dBm."""
    reads = READS.replace("power_dbm", "power_mw").replace(",15,", f",{mw},")
    site = SITE.replace('"levels_dbm": [15, 16]', levels)
    return write_case(folder, reads=reads.replace(",16,", ",40,"), site=site, **files)


@pytest.mark.parametrize("mw", ["31.6", "31.62278", "32", "31.27"])
def test_milliwatts_mean_the_level_within_a_twentieth_of_a_db(tmp_path: Path, mw: str) -> None:
    """15 dBm is 31.62 mW (definition); 32 mW is 15.05 dBm and 31.27 mW 14.95."""
    survey = read_case(milliwatts(tmp_path, mw)).read_points[0].survey
    assert survey.levels_dbm.tolist() == [15.0, 16.0]
    assert survey.read_level.tolist() == [0, 1, 1, 1]


@pytest.mark.parametrize(("mw", "dbm"), [("32.06", "15.06"), ("31.19", "14.94"), ("36", "15.56")])
def test_milliwatts_further_off_are_refused_with_the_nearest(
    tmp_path: Path, mw: str, dbm: str
) -> None:
    (fault,) = refused(milliwatts(tmp_path, mw)).faults
    assert (fault.line, fault.column) == (2, "power_mw")
    assert fault.value == f"{dbm} dBm"
    near = "16 dBm, 0.44" if dbm == "15.56" else "15 dBm, 0.06"
    assert f"15, 16 (nearest: {near} dB away)" in fault.allowed


@pytest.mark.parametrize("dbm", ["15.05", "15.06", "15.6", "15.001"])
def test_levels_in_dbm_are_exact(tmp_path: Path, dbm: str) -> None:
    (fault,) = refused(write_case(tmp_path, reads=READS.replace(",15,", f",{dbm},"))).faults
    assert (fault.line, fault.column, fault.value) == (2, "power_dbm", dbm)
    assert "nearest: 1" in fault.allowed


def test_milliwatts_mean_the_levels_of_a_file_in_dbm(tmp_path: Path) -> None:
    tried = "read_point,pass_id,power_dbm\n" + "".join(
        f"gate,{p},{level}\n" for p in ("p1", "p2") for level in (15, 16, 17)
    )
    folder = milliwatts(tmp_path, "32", '"stop_after": 1', tried=tried)
    assert read_case(folder).read_points[0].survey.levels_dbm.tolist() == [15.0, 16.0, 17.0]


def test_faults_of_all_files_come_at_once_in_order_of_lines(tmp_path: Path) -> None:
    reads = READS.replace(",-50\n", ",50\n").replace(",16,3002", ",99,XYZ")
    roster = ROSTER.replace("stray", "foreign")
    faults = refused(write_case(tmp_path, reads=reads, roster=roster, site="{")).faults
    assert [(fault.source, fault.line) for fault in faults] == [
        ("site.json", 1),
        ("roster.csv", 3),
        ("reads.csv", 2),
        ("reads.csv", 4),
        ("reads.csv", 4),
    ]


def test_more_than_a_thousand_faults_are_counted(tmp_path: Path) -> None:
    reads = READS + "gate,p1,15,3001,1\n" * 2500 + "gate,p1,15,XY,-50\n" * 2 + "gate\n" * 7
    faults = refused(write_case(tmp_path, reads=reads)).faults
    assert len(faults) == 1001
    assert faults[0].line == 6
    assert faults[-1].value == "1,509 more faults"


@pytest.mark.parametrize("name", ["reads.csv", "roster.csv", "site.json"])
def test_missing_file_and_folder_instead_of_file(tmp_path: Path, name: str) -> None:
    folder = write_case(tmp_path)
    (folder / name).unlink()
    assert [fault.source for fault in refused(folder).faults] == [name]
    (folder / name).mkdir()
    assert [fault.value for fault in refused(folder).faults] == ["is no file"]


def test_tried_that_cannot_be_opened_is_not_taken_as_absent(tmp_path: Path) -> None:
    folder = write_case(tmp_path)
    os.symlink(folder / "nowhere", folder / "tried.csv")
    assert [fault.source for fault in refused(folder).faults] == ["tried.csv"]


@pytest.mark.parametrize("folder", ["no/such/folder", "nul\0byte", ""])
def test_no_such_folder(tmp_path: Path, folder: str) -> None:
    assert refused(tmp_path / folder).faults


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(name=st.sampled_from(["reads.csv", "roster.csv", "tried.csv", "site.json"]), data=st.data())
def test_no_content_of_a_file_raises_anything_but_input_error(
    tmp_path: Path, name: str, data: st.DataObject
) -> None:
    folder = write_case(tmp_path, tried="read_point,pass_id,power_dbm\ngate,p1,15\n")
    sound = (folder / name).read_bytes()
    spot = data.draw(st.integers(0, len(sound)))
    end = data.draw(st.integers(spot, len(sound)))
    symbols = st.sampled_from([b",", b"\n", b"\r", b'"', b"\0", b"-", b"1e9", b"\xff", b" ", b"{"])
    noise = data.draw(st.binary(max_size=40) | st.lists(symbols, max_size=12).map(b"".join))
    (folder / name).write_bytes(sound[:spot] + noise + sound[end:])
    try:
        read_case(folder)
    except InputError as error:
        assert error.faults


@pytest.mark.parametrize(
    "unit", [b"\0", b"\n", b"x", b"\xff", b"gate,p1,15,3001\n", b'"', b"a,b\n"]
)
def test_hundred_megabytes_of_nonsense_end_in_faults(tmp_path: Path, unit: bytes) -> None:
    folder = write_case(tmp_path)
    size = 100_000_000 if len(unit) == 1 else 8_000_000  # many short lines take the time
    with (folder / "reads.csv").open("wb") as file:
        file.write(READS.encode() if unit != b"\n" else b"")
        file.write(unit * (size // len(unit)))
    assert len(refused(folder).faults) <= 1001


def test_order_of_rows_does_not_matter(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    reads = [f"gate,p{p},{level},30{t:02X},{-40 - rng.integers(20)}" for p in range(12)
             for level in (15, 15, 16) for t in range(9) if rng.random() < 0.6]  # fmt: skip
    roster = [f"gate,p{p},30{t:02x},stray" for p in range(12) for t in range(8)]

    def survey(folder: Path) -> tuple[object, ...]:
        texts = [
            "\n".join([text.splitlines()[0], *rng.permutation(rows)]) + "\n"
            for text, rows in ((READS, reads), (ROSTER, roster))
        ]
        return plain(read_case(write_case(folder, *texts)).read_points[0].survey)

    first = survey(tmp_path / "a")
    assert first[2] == tuple(f"p{p}" for p in range(12))
    assert all(survey(tmp_path / f"b{i}") == first for i in range(5))
