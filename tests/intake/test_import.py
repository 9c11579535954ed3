"""From raw files to the files of a case, what is assumed and counted, and what is asked for."""

from __future__ import annotations

import json
from datetime import UTC, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

import strategist
from strategist.__main__ import main
from strategist.errors import InputError
from tests.intake.given import (
    case_files,
    drawn,
    imported,
    level_rows,
    log_rows,
    of_case,
    plain,
    sheet_rows,
    tag_rows,
    text_of,
)

MADE = drawn()
LOG, SHEET, TAGS = (text_of(rows(MADE)) for rows in (log_rows, sheet_rows, tag_rows))

ONE, OTHER = list(dict.fromkeys(one.epc for one in MADE.reads))[:2]


def refused(*files: Any, **mapping: Any) -> str:
    with pytest.raises(InputError) as error:
        imported(*files, **mapping)
    return str(error.value)


def test_plain_files_come_to_the_case() -> None:
    found = plain(MADE)
    assert of_case(found.files) == case_files(MADE)
    assert (found.passes_by, found.tally.rows) == ("windows", len(MADE.reads))
    assert found.tally.reads == found.tally.rows
    assert found.findings == ()
    assert sorted(found.files) == ["mapping.json", "reads.csv", "roster.csv", "site.json"]


def test_the_case_is_one_that_is_read() -> None:
    files = {k: v.encode() for k, v in plain(MADE).files.items() if k != "mapping.json"}
    case = strategist.read_case_files(files)
    assert [point.name for point in case] == ["sorting-belt"]
    assert len(case["sorting-belt"].survey.read_pass) == len(MADE.reads)


def test_the_mapping_written_is_taken_and_comes_to_the_same() -> None:
    first = plain(MADE)
    again = plain(MADE, **json.loads(first.files["mapping.json"]))
    assert again.files == first.files
    assert {one.by for one in again.columns if one.role} == {"mapping"}


def test_every_column_is_told_with_a_sample() -> None:
    found = {one.column: one for one in plain(MADE).columns if one.file == "raw.csv"}
    assert {name: one.role for name, one in found.items()} == {
        "time": "time",
        "epc": "epc",
        "rssi_dbm": "rssi",
        "power_dbm": "power",
    }
    assert found["epc"].sample[0] == MADE.reads[0].epc


def test_a_column_that_is_not_used_is_told() -> None:
    rows = [
        (*row, extra) for row, extra in zip(log_rows(MADE), ["phase", *"7" * 9999], strict=False)
    ]
    (one,) = [c for c in imported(text_of(rows), SHEET, TAGS).columns if c.column == "phase"]
    assert (one.role, one.sample) == (None, ("7",))


def test_reads_outside_every_pass_are_counted() -> None:
    late = ("2026-03-10T08:00:00.000", MADE.reads[0].epc, "-60.0", "20")
    found = imported(text_of([*log_rows(MADE), late, late]), SHEET, TAGS)
    assert (found.tally.outside_passes, found.tally.reads) == (2, len(MADE.reads))
    assert of_case(found.files) == case_files(MADE)


def test_rows_that_lack_something_are_counted() -> None:
    at, epc, rssi, level = log_rows(MADE)[1]
    more = [(at, "", rssi, level), (at, epc, "", level), (at, epc, rssi, "")]
    tally = imported(text_of([*log_rows(MADE), *more]), SHEET, TAGS).tally
    assert (tally.without_epc, tally.without_rssi, tally.without_level) == (1, 1, 1)
    assert tally.rows == tally.reads + 3


def test_tags_on_no_list_are_counted_and_stay() -> None:
    at, _, rssi, level = log_rows(MADE)[1]
    found = imported(text_of([*log_rows(MADE), (at, "E2000000AA", rssi, level)]), SHEET, TAGS)
    assert (found.tally.unlisted_tags, found.tally.reads_of_unlisted_tags) == (1, 1)
    assert "E2000000AA" in found.files["reads.csv"]


def test_passes_by_a_column_of_the_log() -> None:
    names = ["pass", *(one.pass_id for one in MADE.reads)]
    rows = [(name, *row) for name, row in zip(names, log_rows(MADE), strict=True)]
    found = imported(text_of(rows), None, TAGS)
    assert found.passes_by == "column"
    assert of_case(found.files)["reads.csv"] == case_files(MADE)["reads.csv"]


def test_levels_from_the_run_sheet() -> None:
    sheet = [("pass", "level", "from", "to")] + [
        (name, f"{level} dBm", *(at.strftime("%Y-%m-%d %H:%M:%S") for at in
         (MADE.start(name, level), MADE.end(name, level))))
        for name in MADE.passes for level in MADE.levels
    ]  # fmt: skip
    found = imported(text_of([row[:3] for row in log_rows(MADE)]), text_of(sheet), TAGS)
    assert of_case(found.files) == case_files(MADE, all_levels=True, t_s=True)
    tried = found.files["tried.csv"].splitlines()
    assert tried[:2] == ["read_point,pass_id,power_dbm,dwell_s", "sorting-belt,p0001,10,3"]
    assert len(tried) == 1 + len(MADE.passes) * len(MADE.levels)


def test_two_read_points_on_one_run_sheet() -> None:
    head, *rows = sheet_rows(MADE)
    half = len(rows) // 2
    sheet = [("read point", *head), *(("a" if i < half else "b", *r) for i, r in enumerate(rows))]
    found = imported(LOG, text_of(sheet), "epc,role\n" + f"{ONE},wanted\n{OTHER},stray\n")
    assert [(one.read_point, one.passes) for one in found.read_points] == [("a", 4), ("b", 4)]
    both = [sheet[0], *(("b", *row) for row in rows), ("a", *rows[0])]
    assert "passes that do not overlap" in refused(LOG, text_of(both), TAGS)


def test_a_pass_column_and_a_sheet_by_level_without_power_in_the_log() -> None:
    names = ["pass", *(one.pass_id for one in MADE.reads)]
    rows = [(name, *row[:3]) for name, row in zip(names, log_rows(MADE), strict=True)]
    found = imported(text_of(rows), text_of(level_rows(MADE)), TAGS)
    assert of_case(found.files) == case_files(MADE, all_levels=True, t_s=True)


def test_passes_by_pauses() -> None:
    rows = [(name, "x") for name in MADE.passes]
    found = imported(LOG, text_of([("pass", "condition"), *rows]), TAGS, pause_s=300)
    assert found.passes_by == "pauses"
    assert of_case(found.files) == case_files(MADE)
    assert "sorting-belt,p0001,x,," in found.files["passes.csv"]


def test_a_pause_that_gives_another_number_of_passes_is_told_with_one_that_fits() -> None:
    sheet = text_of([("pass", "condition"), *((name, "x") for name in MADE.passes)])
    text = refused(LOG, sheet, TAGS, pause_s=0.5)
    assert "pause_s" in text and "pauses of 0.5 s or more make" in text
    assert f"{len(MADE.passes)} groups" in text and "(more than " in text


def test_wanted_and_stray_tags_on_the_run_sheet() -> None:
    label = {epc: f"T{i}" for i, epc in enumerate(dict.fromkeys(row[1] for row in MADE.roster))}
    head, *rows = sheet_rows(MADE)

    def of(name: str, role: str) -> str:
        return " ".join(label[row[1]] for row in MADE.roster if row[0] == name and row[2] == role)

    sheet = [
        (*head, "wanted", "stray"),
        *((*r, of(r[0], "wanted"), of(r[0], "stray")) for r in rows),
    ]
    carried = {row[1]: row[3:] for row in MADE.roster}
    tags = [("label", "epc", "tid", "user", "type")]
    tags += [(label[epc], epc, *carried[epc]) for epc in label]
    found = imported(LOG, text_of(sheet), text_of(tags))
    assert of_case(found.files) == case_files(MADE)


def test_a_tag_list_without_passes_holds_in_all_of_them() -> None:
    tags = "epc,role\n" + f"{ONE},wanted\n{OTHER},stray\n"
    found = imported(LOG, SHEET, tags).files["roster.csv"]
    assert found.count(",wanted,") == found.count(",stray,") == len(MADE.passes)


def test_a_role_in_a_range_of_passes() -> None:
    tags = f"epc,role,pass\n{MADE.reads[0].epc},stray,\n{MADE.reads[0].epc},wanted,p0002-p0004\n"
    found = imported(LOG, SHEET, tags).files["roster.csv"].splitlines()[1:]
    assert [row.split(",")[3] for row in found] == ["stray", *["wanted"] * 3, *["stray"] * 4]


@pytest.mark.parametrize(
    ("files", "mapping", "words"),
    [
        ((LOG, SHEET, None), {}, "which tags are wanted"),
        ((LOG, None, TAGS), {}, "nothing tells which read is of which pass"),
        ((LOG.replace("power_dbm", "phase"), SHEET, TAGS), {}, "at which level the reads were"),
        ((LOG.replace(",-", ","), SHEET, TAGS), {}, "dBm without their minus sign"),
        ((LOG.replace("rssi_dbm", "x").replace(",-", ","), SHEET, TAGS), {}, "raw.csv, rssi"),
        ((LOG, SHEET, TAGS), {"log": {"columns": {"epc": "EPC"}}}, "raw.csv has no column"),
        ((LOG, SHEET, TAGS), {"passes_by": "column"}, "the log has no pass column"),
        ((LOG, SHEET, TAGS), {"pass_by": "column"}, "passes_by"),
        ((LOG, SHEET, "epc,role\n30AA,mine\n"), {}, "wanted or stray"),
        ((LOG, SHEET, "epc,role,pass\n30AA,stray,p77\n"), {}, 'there is no pass "p77"'),
        ((LOG, "pass,start\np1,soon\n", TAGS), {}, "runs.csv, start"),
        ((LOG.replace("epc", "tags 1"), SHEET, TAGS), {"log": {"columns": {"epc": None}}}, "epc"),
        ((LOG.replace("2026-03-09T", ""), SHEET + "p9,2026-03-12,\n", TAGS), {}, "start"),
    ],
)  # fmt: skip
def test_what_cannot_be_known_is_asked_for(files: Any, mapping: Any, words: str) -> None:
    assert words in refused(*files, **mapping)


@pytest.mark.parametrize(("odd", "is_rssi"), [(7, False), (0, True), (-120, True), (-130, False)])
def test_one_value_that_is_no_rssi_is_told_with_its_line(odd: float, is_rssi: bool) -> None:
    rows = log_rows(MADE)
    rows[5] = (*rows[5][:2], f"{odd}", rows[5][3])
    if is_rssi:
        assert imported(text_of(rows), SHEET, TAGS).files
    else:
        assert refused(text_of(rows), SHEET, TAGS) == (
            f'raw.csv, line 6, rssi: "{odd}" is not valid. Give dBm, as in the other rows: '
            "RSSI from -120 to 0 dBm."
        )


def test_many_values_that_are_no_rssi_leave_the_unit_of_all_open() -> None:
    rows = log_rows(MADE)
    odd = range(5, len(rows), 20)
    for row in odd:
        rows[row] = (*rows[row][:2], "7", rows[row][3])
    assert 50 * len(odd) > len(rows)
    assert "raw.csv, rssi is in no known form" in refused(text_of(rows), SHEET, TAGS)


def test_two_columns_that_may_be_the_rssi_are_asked_for() -> None:
    rows = [(*row, row[2]) for row in log_rows(MADE)]
    rows[0] = ("time", "epc", "signal 1", "power_dbm", "signal 2")
    text = refused(text_of(rows), SHEET, TAGS)
    assert '"signal 1"' in text and '"signal 2"' in text
    assert '{"log": {"columns": {"rssi": "signal 1"}}}' in text
    found = imported(text_of(rows), SHEET, TAGS, log={"columns": {"rssi": "signal 2"}})
    assert of_case(found.files) == case_files(MADE)


@pytest.mark.parametrize("epc", ["30AA0102030405{:02d}", "3000112233445566778899{:02d}"])
def test_a_column_of_long_hex_is_the_epc_and_one_of_long_digits_a_moment(epc: str) -> None:
    """By what they hold, under names that say nothing: 96 bits that happen to be digits, too."""
    log = "time,what,number,rssi_dbm,power_dbm\n" + "".join(
        f"2026-03-09T08:00:{n:02d},{epc.format(n)},202603090800{n:02d},-60,20\n" for n in range(9)
    )
    sheet = "pass,start,end\np1,2026-03-09 08:00:00,2026-03-09 08:01:00\n"
    found = imported(log, sheet, f"epc,role\n{epc.format(0)},wanted\n")
    assert {one.column: one.role for one in found.columns if one.file == "raw.csv"}["what"] == "epc"
    assert found.tally.reads == 9


def test_names_that_no_tag_list_explains_are_one_question() -> None:
    head, *rows = sheet_rows(MADE)
    sheet = [(*head, "wanted"), *((*row, f"T{i} T99") for i, row in enumerate(rows))]
    with pytest.raises(InputError) as error:
        imported(LOG, text_of(sheet), None)
    assert len(error.value.faults) == 1
    assert "runs.csv, line 2, wanted: no known tag is called so: T0, T99, T1" in str(error.value)


def test_overlapping_passes_with_reads_in_both_are_refused() -> None:
    rows = sheet_rows(MADE)
    rows[1] = (rows[1][0], rows[1][1], rows[2][2])
    text = refused(LOG, text_of(rows), TAGS)
    assert "runs.csv, line 3, start" in text and "reads are in both" in text


def test_a_clock_an_hour_off_is_told_and_the_offset_mends_it() -> None:
    moved = LOG
    for hour in range(8, 10):
        moved = moved.replace(f"T{hour:02d}:", f"T{hour + 10:02d}:")
    text = refused(moved, SHEET, TAGS)
    assert '"clock_offset_s": -36000' in text and "0 of" in text
    assert "10 hours (36" in text and "earlier" in text
    found = imported(moved, SHEET, TAGS, clock_offset_s=-36000)
    assert of_case(found.files) == case_files(MADE)


def test_the_command_writes_a_new_folder_and_nothing_over_another(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, text in (("raw.csv", LOG), ("runs.csv", SHEET), ("tags.csv", TAGS)):
        (tmp_path / name).write_text(text)
    raw, runs, tags, out = (str(tmp_path / n) for n in ("raw.csv", "runs.csv", "tags.csv", "out"))
    command = ["import", raw, "--run-sheet", runs, "--tags", tags, "--out", out]
    assert main([*command, "--read-point", MADE.read_point]) == 0
    told = capsys.readouterr().out
    assert "rssi (dbm)" in told and "outside every pass" in told
    written = {path.name: path.read_text() for path in Path(out).iterdir()}
    assert of_case(written) == case_files(MADE)
    assert json.loads(written["import.json"])["tally"]["reads"] == len(MADE.reads)
    assert main(["check", out]) == 0
    assert main(command) == 2
    assert "nothing is overwritten" in capsys.readouterr().err
    assert main([*command[:-1], str(tmp_path / "two"), "--mapping", f"{out}/mapping.json"]) == 0
    assert (tmp_path / "two/reads.csv").read_text() == written["reads.csv"]


def test_a_refused_import_writes_nothing(tmp_path: Path) -> None:
    (tmp_path / "raw.csv").write_text(LOG)
    out = tmp_path / "out"
    assert main(["import", str(tmp_path / "raw.csv"), "--out", str(out)]) == 2
    assert [path.name for path in tmp_path.iterdir()] == ["raw.csv"]


def test_logs_of_two_zones_are_one_log() -> None:
    """The same moments, told in one zone in the first log and in another one in the second."""
    made = drawn()
    head, *rows = log_rows(made)

    def told(some: range, hours: int) -> bytes:
        zone = timezone(timedelta(hours=hours))
        moments = [made.reads[k].at.replace(tzinfo=UTC).astimezone(zone) for k in some]
        here = [(at.isoformat(), *rows[k][1:]) for k, at in zip(some, moments, strict=True)]
        return text_of([head, *here]).encode()

    sheet = [("pass", "start", "end")]
    for name in made.passes:
        ends = (made.start(name), made.end(name))
        sheet.append((name, *(at.replace(tzinfo=UTC).isoformat() for at in ends)))
    half, every = len(rows) // 2, len(rows)
    files = [
        imported(logs, text_of(sheet), text_of(tag_rows(made))).files
        for logs in (
            {"a.csv": told(range(every), 0)},
            {"a.csv": told(range(half), 0), "b.csv": told(range(half, every), 5)},
        )
    ]
    assert files[0]["reads.csv"] == files[1]["reads.csv"]
    assert files[0]["roster.csv"] == files[1]["roster.csv"]
