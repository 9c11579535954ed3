"""What a run sheet may leave out, and how the times of log and sheet come to the same days."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest

from strategist.errors import InputError
from tests.intake.given import (
    case_files,
    drawn,
    imported,
    level_rows,
    log_rows,
    of_case,
    sheet_rows,
    tag_rows,
    text_of,
)

MADE = drawn()
LOG, SHEET, TAGS = (text_of(rows(MADE)) for rows in (log_rows, sheet_rows, tag_rows))
DAY = "2026-03-09"
WANTED = "epc,role\n30AA01,wanted\n"


@pytest.mark.parametrize(
    ("log", "sheet"),
    [(LOG.replace(f"{DAY}T", ""), SHEET), (LOG, SHEET.replace(f"{DAY} ", ""))],
    ids=["the log", "the sheet"],
)
def test_times_without_a_date_are_of_the_one_day_of_the_other_file(log: str, sheet: str) -> None:
    assert DAY not in log or DAY not in sheet
    assert of_case(imported(log, sheet, TAGS).files) == case_files(MADE)


def test_times_without_a_date_beside_those_of_two_days_are_asked_for() -> None:
    lines = SHEET.splitlines()
    lines[-1] = lines[-1].replace(DAY, "2026-03-10")
    with pytest.raises(InputError, match="those of the other file are of 2 days"):
        imported(LOG.replace(f"{DAY}T", ""), "\n".join(lines), TAGS)


def test_log_and_run_sheet_by_time_of_day_go_past_midnight_together() -> None:
    """A pass before midnight, one over it and one behind it, each with its reads."""
    log = "time,epc,rssi_dbm,power_dbm\n" + "".join(
        f"{at},30AA01,-60,20\n" for at in ("23:58:30", "23:59:50", "00:00:10", "00:01:30")
    )
    sheet = "pass,start,end\na,23:58:00,23:59:00\nb,23:59:30,00:00:30\nc,00:01:00,00:02:00\n"
    found = imported(log, sheet, WANTED)
    assert found.findings == () and found.tally.outside_passes == 0
    passes = [row.split(",")[1] for row in found.files["reads.csv"].splitlines()[1:]]
    assert passes == ["a", "b", "b", "c"]


def test_a_log_by_time_of_day_goes_past_midnight_and_back_a_little() -> None:
    """A second back is a clock that was set, half a day back is the next day."""
    log = "time,epc,rssi_dbm,power_dbm\n" + "".join(
        f"{at},30AA01,-60,{level}\n"
        for at, level in (("23:59:57", 20), ("23:59:56", 21), ("00:00:01", 22), ("00:00:05", 23))
    )
    sheet = "pass,start,end\np1,2026-03-09 23:59:50,2026-03-10 00:00:03\n"
    found = imported(log, sheet, WANTED)
    assert (found.tally.reads, found.tally.outside_passes) == (3, 1)
    assert any("past midnight 1 times" in one for one in found.assumed)


@pytest.mark.parametrize(
    ("times", "midnights"),
    [(("20:00:00", "11:00:00"), 0), (("12:00:00", "00:00:00"), 1), (("12:00:00", "00:00:01"), 0)],
)
def test_a_fall_by_half_a_day_is_the_next_day(times: tuple[str, str], midnights: int) -> None:
    log = "time,epc,rssi_dbm,power_dbm\n" + "".join(f"{at},30AA01,-60,20\n" for at in times)
    found = imported(log, None, WANTED, pause_s=1)
    said = [one for one in found.assumed if "past midnight" in one]
    assert said == ([f"the log's time of day goes past midnight {midnights} times"] * midnights)


def test_a_run_sheet_by_time_of_day_in_any_order_beside_a_dated_log() -> None:
    log = "time,epc,rssi_dbm,power_dbm\n" + "".join(
        f"{DAY} {at},30AA01,-60,20\n" for at in ("01:00:10", "20:00:10")
    )
    sheet = "pass,start,end\nlate,20:00:00,20:01:00\nearly,01:00:00,01:01:00\n"
    found = imported(log, sheet, WANTED)
    assert found.tally.outside_passes == 0 and found.findings == ()


def test_passes_of_two_read_points_at_once_count_each_read_once() -> None:
    """Two reads outside, four inside windows that two read points share: with the clock an hour
    on all six would be inside, not twelve."""
    log = "reader,time,epc,rssi_dbm,power_dbm\n" + "".join(
        f"{'ab'[n % 2]},{DAY} {9 + (n > 1)}:00:{10 + n},30AA01,-60,20\n" for n in range(6)
    )
    rows = (f"{r},{r}{h},{DAY} {h}:00:05,{DAY} {h}:00:20\n" for h in (10, 11) for r in "ab")
    found = imported(log, "reader,pass,start,end\n" + "".join(rows), WANTED)
    (said,) = [one.text for one in found.findings if one.kind == "clocks_differ"]
    assert "4 of 6 reads looked at lie inside a pass, and 6 would" in said


@pytest.mark.parametrize("all_of_them", [True, False])
def test_passes_end_by_their_duration_or_when_the_next_begins(all_of_them: bool) -> None:
    """The order of the rows does not matter."""
    rows = [("pass", "start", "duration_s")]
    for name in MADE.passes[::-1]:
        start = MADE.start(name)
        long = (MADE.end(name) - start).total_seconds()
        given = all_of_them or name == MADE.passes[2]
        rows.append((name, start.replace(tzinfo=None).isoformat(" "), f"{long:g}" * given))
    found = imported(LOG, text_of(rows), TAGS)
    assert of_case(found.files)["reads.csv"] == case_files(MADE)["reads.csv"]
    said = [one for one in found.assumed if "until the next one begins" in one]
    assert said == (
        [] if all_of_them else ["7 passes without an end last until the next one begins"]
    )


def test_a_read_after_the_given_end_is_outside_and_before_the_next_start_inside() -> None:
    last = MADE.reads[-1]
    late = (last.at + timedelta(minutes=30)).replace(tzinfo=None).isoformat(timespec="milliseconds")
    log = text_of([*log_rows(MADE), (late, last.epc, "-60.0", str(last.level))])
    starts = text_of([row[:2] for row in sheet_rows(MADE)])
    assert imported(log, SHEET, TAGS).tally.outside_passes == 1
    assert imported(log, starts, TAGS).tally.outside_passes == 0


def test_rows_without_a_pass_column_are_passes() -> None:
    rows = [row[1:] for row in sheet_rows(MADE)]
    found = imported(LOG, text_of(rows), TAGS)
    assert of_case(found.files) == case_files(MADE)
    assert any("numbered from p0001" in one for one in found.assumed)
    by_level = [(row[1], *row[2:]) for row in level_rows(MADE)]
    with pytest.raises(InputError, match="which rows are one pass at several levels"):
        imported(LOG, text_of(by_level), TAGS)


def test_blank_cells_of_a_pass_are_as_the_cell_above() -> None:
    head, *rows = level_rows(MADE)
    whole = imported(LOG, text_of([head, *rows]), TAGS)
    names = [row[0] for row in rows]
    merged = [
        ("" if k and names[k - 1] == row[0] else row[0], *row[1:]) for k, row in enumerate(rows)
    ]
    found = imported(LOG, text_of([head, *merged]), TAGS)
    blanks = sum(not row[0] for row in merged)
    assert of_case(found.files) == of_case(whole.files)
    assert any(one.startswith(f"{blanks} blank cells of pass") for one in found.assumed)


def test_passes_by_pauses_without_a_run_sheet_are_numbered() -> None:
    found = imported(LOG, None, TAGS, passes_by="pauses", pause_s=300)
    assert of_case(found.files) == case_files(MADE)
    assert any("8 groups of reads with pauses of 300 s" in one for one in found.assumed)


def test_a_pass_column_of_the_log_is_held_against_the_run_sheet() -> None:
    """What the sheet says of a pass goes with it, whatever the order of its rows."""
    names = ["pass", *(one.pass_id for one in MADE.reads)]
    rows = [(name, *row) for name, row in zip(names, log_rows(MADE), strict=True)]
    sheet = [("pass", "condition"), *((name, f"c{name}") for name in MADE.passes[::-1])]
    found = imported(text_of(rows), text_of(sheet), TAGS)
    assert of_case(found.files) == case_files(MADE)
    told = found.files["passes.csv"].splitlines()[1:]
    assert [row.split(",")[1:3] for row in told] == [[name, f"c{name}"] for name in MADE.passes]


def test_of_two_times_and_two_strengths_the_first_seen_and_the_peak_are_taken() -> None:
    head, *rows = log_rows(MADE)
    twins = [("last seen", "first seen", head[1], "mean rssi_dbm", "peak rssi_dbm", head[3])]
    for at, epc, rssi, level in rows:
        twins.append(("2026-03-09T23:00:00.000", at, epc, "-99.0", rssi, level))
    assert of_case(imported(text_of(twins), SHEET, TAGS).files) == case_files(MADE)


def test_a_pc_word_before_epcs_of_no_known_scheme_is_taken_off() -> None:
    """Six words of any content behind the word that says six."""
    log = "time,epc,rssi_dbm,power_dbm\n" + "".join(
        f"{DAY}T08:00:0{n}.000,3000{'AB' * 11}0{n},-60,20\n" for n in range(4)
    )
    sheet = f"pass,start,end\np1,{DAY} 08:00:00,{DAY} 08:01:00\n"
    found = imported(log, sheet, f"epc,role\n{'AB' * 11}00,wanted\n")
    epcs = [row.split(",")[3] for row in found.files["reads.csv"].splitlines()[1:]]
    assert epcs == [f"{'AB' * 11}0{n}" for n in range(4)]


@pytest.mark.parametrize("level", ["", "17"])
def test_a_read_point_without_reads_needs_levels_that_the_sheet_names(level: str) -> None:
    log = "read point,pass,epc,rssi,power\nnorth,p1,30AA01,-50,15\n"
    sheet = f"read point,pass,level\nnorth,p1,15\nsouth,p2,{level}\n"
    if level:
        site = imported(log, sheet, WANTED).files["site.json"]
        assert json.loads(site)["read_points"]["south"]["levels_dbm"] == [17]
        return
    with pytest.raises(InputError) as caught:
        imported(log, sheet, WANTED)
    (fault,) = caught.value.faults
    assert fault.wrong == 'nothing was read at "south", and no level is given for it'
    assert "levels_dbm" in fault.allowed


def test_a_column_of_times_without_any_is_as_if_it_were_not_there() -> None:
    """As in a form that nobody filled in."""
    log = "pass,time,epc,rssi,power\np1,,30AA01,-50,15\n"
    found = imported(log, "pass,start,end\np1,,\n", WANTED)
    assert found.files["reads.csv"].splitlines()[1:] == ["sorting-belt,p1,15,30AA01,-50"]
    log = f"time,epc,rssi,power\n{DAY} 08:00:05,30AA01,-50,15\n{DAY} 08:01:05,30AA01,-51,15\n"
    found = imported(log, f"pass,start,end\na,{DAY} 08:00,\nb,{DAY} 08:01,\n", WANTED)
    assert found.tally.reads == 2
    assert "2 passes without an end last until the next one begins" in found.assumed
    found = imported(log, "pass,start,end\na,,\nb,,\n", WANTED, pause_s=30)
    assert (found.passes_by, found.tally.reads) == ("pauses", 2)


def test_reads_of_passes_may_have_no_time_where_other_rows_have_one() -> None:
    log = f"pass,time,epc,rssi,power\np1,,30AA01,-50,15\n,{DAY} 08:00:00,30AA01,-50,15\n"
    found = imported(log, None, WANTED)
    assert (found.tally.reads, found.tally.outside_passes) == (1, 1)
    assert {one.kind for one in found.findings} == {"reads_outside_passes"}


def test_reads_without_an_antenna_are_told_by_their_line_in_the_log() -> None:
    """Where others of it name theirs; rows that are no reads of the case may lack it."""
    rows = [f"{place},30AA01,-50,15,{antenna}" for place, antenna in (
        ("north,p1", 1), ("north,p1", ""), ("south,p1", ""),
        ("north,", ""), ("north,p2", ""), ("south,p2", ""),
    )]  # fmt: skip
    log = "\n".join(["read point,pass,epc,rssi,power,antenna", *rows])
    with pytest.raises(InputError) as caught:
        imported(log, None, WANTED)
    told = [(one.source, one.line, one.column) for one in caught.value.faults]
    assert told == [("raw.csv", 3, "antenna"), ("raw.csv", 6, "antenna")]
    without = "\n".join(row for i, row in enumerate(log.splitlines(), 1) if i not in (3, 6))
    assert imported(without, None, WANTED).tally.reads == 3
