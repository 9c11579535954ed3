"""What went wrong on the way is suspected, with counts and a remedy; a sound survey is not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

import strategist
from cases.linen import PLACES
from cases.raw_log import Facts, Read, facts
from strategist.survey.suspected import looks_like_mw, under_two_epcs
from tests.intake.given import (
    drawn,
    imported,
    log_rows,
    plain,
    sheet_rows,
    tag_rows,
    text_of,
)
from tests.intake.writers import iso, pc_epc, with_crc

MADE = drawn()
SHEET, TAGS = (text_of(rows(MADE)) for rows in (sheet_rows, tag_rows))


def kinds(found: strategist.Imported) -> set[str]:
    return {one.kind for one in found.findings}


def text(found: strategist.Imported, kind: str) -> str:
    (one,) = [one for one in found.findings if one.kind == kind]
    assert one.advice
    return one.text


def log_of(head: tuple[str, ...], row: Callable[[int, Read], tuple[str, ...]]) -> str:
    return text_of([head, *(row(i, one) for i, one in enumerate(MADE.reads))])


def shifted(made: Facts, by: int) -> Facts:
    """The roster's numbers moved by so many passes; what falls off the end is left out."""
    place = {name: i + by for i, name in enumerate(made.passes)}
    roster = tuple(
        (made.passes[place[row[0]]], *row[1:])
        for row in made.roster
        if 0 <= place[row[0]] < len(made.passes)
    )
    return replace(made, roster=roster)


def test_a_shift_by_one_is_found_in_95_of_100_and_suspected_in_none() -> None:
    """12 drawn surveys of each of the read points, either way round."""
    missed, drawn_surveys = 0, 0
    for name in PLACES:
        for seed in range(12):
            made = facts(name, 12, seed)
            assert kinds(plain(made, read_point=name)) == set()
            by = 1 if seed % 2 else -1
            missed += "passes_shifted" not in kinds(plain(shifted(made, by), read_point=name))
            drawn_surveys += 1
    assert missed <= 0.05 * drawn_surveys


def test_a_clock_that_loses_some_reads_is_suspected() -> None:
    late = replace(
        MADE, reads=tuple(replace(one, at=one.at + timedelta(seconds=6)) for one in MADE.reads)
    )
    found = imported(text_of(log_rows(late)), SHEET, TAGS)
    assert {"clocks_differ", "reads_outside_passes"} <= kinds(found)
    assert f"{len(MADE.reads)} would if the log's times were " in text(found, "clocks_differ")
    assert found.tally.outside_passes > 0


def test_reads_of_one_tag_in_two_passes_at_once() -> None:
    """A pass column that jumps to and fro."""
    head = ("time", "epc", "rssi", "power", "pass")
    epc, other = "3066C4409047E140075BCD15", "3066C4409047E140075BCD16"
    rows = [
        (f"2026-03-09T08:00:0{second}", tag, "-60", "20", name)
        for second, name in enumerate(["p1", "p2", "p1", "p1"])
        for tag in (epc, other)
    ]
    tags = f"epc,role\n{epc},wanted\n{other},stray\n"
    found = imported(text_of([head, *rows]), None, tags)
    assert "2 tags were read in two passes at once" in text(found, "passes_at_once")
    assert "as in p1 and p2" in text(found, "passes_at_once")
    sound = [row if row[4] == "p1" else (*row[:4], "p1") for row in rows]
    later = [(row[0].replace("08:", "09:"), *row[1:4], "p2") for row in rows]
    assert "passes_at_once" not in kinds(imported(text_of([head, *sound, *later]), None, tags))


def test_levels_of_a_pass_may_overlap_and_other_passes_may_not() -> None:
    """One tag at two levels of p1 at once, which is none; it was read in p2 until after it was
    first read in p3, and there until after p4 began. The other tag was read in p2 until p3 began.
    """
    epc, other = "3066C4409047E140075BCD15", "3066C4409047E140075BCD16"
    read = [
        *((20, epc, 20, "p1"), (21, epc, 21, "p1"), (22, epc, 20, "p1"), (23, epc, 21, "p1")),
        *((10, epc, 20, "p2"), (14, epc, 20, "p2"), (12, epc, 21, "p3"), (16, epc, 21, "p3")),
        *((15, epc, 20, "p4"), (10, other, 20, "p2"), (11, other, 20, "p2"), (11, other, 21, "p3")),
    ]
    rows = [
        (f"2026-03-09T08:00:{second:02}", tag, "-60", str(level), name)
        for second, tag, level, name in sorted(read)
    ]
    log = text_of([("time", "epc", "rssi", "power", "pass"), *rows])
    found = imported(log, None, f"epc,role\n{epc},wanted\n{other},stray\n")
    said = "1 tags were read in two passes at once, 2 times, as in p2 and p3."
    assert text(found, "passes_at_once") == said


def test_milliwatts_that_are_called_dbm() -> None:
    mw = {level: f"{10 ** (level / 10):.0f}" for level in range(10, 16)}
    log = log_of(
        ("time", "epc", "rssi", "power_dbm"),
        lambda i, one: (iso(one.at), one.epc, str(one.rssi), mw.get(one.level, "32")),
    )
    found = imported(log, SHEET, TAGS)
    assert "levels_in_mw" in kinds(found)
    assert "11 to 15 dBm" in text(found, "levels_in_mw")


@pytest.mark.parametrize(
    ("levels", "are"),
    [
        ([10, 13, 16, 20, 25, 32, 40], True),
        ([1, 2, 4, 8, 16, 32], True),  # 0, 3, 6, 9, 12, 15 dBm
        ([10, 12, 14, 16], False),
        ([10, 13, 20], False),
        ([1, 1.3, 1.6, 2, 2.5, 3.2], True),
        ([15, 20, 24, 27, 30], False),
        ([-5, 10, 13, 16], False),
    ],
)
def test_what_is_spaced_like_milliwatts(levels: list[float], are: bool) -> None:
    assert looks_like_mw(np.array(levels, float)) is are


def test_rssi_of_another_scale() -> None:
    log = log_of(
        ("time", "epc", "rssi_dbm", "power"),
        lambda i, one: (iso(one.at), one.epc, f"{one.rssi / 10}", str(one.level)),
    )
    with pytest.raises(strategist.InputError, match="rssi"):
        imported(log, SHEET, TAGS)
    found = imported(log, SHEET, TAGS, log={"forms": {"rssi": "dbm"}})
    assert "rssi_scale" in kinds(found)


def test_rssi_of_the_wrong_sign() -> None:
    """A figure that grows with the signal, taken for dBm without the minus."""
    log = log_of(
        ("time", "epc", "rssi", "power"),
        lambda i, one: (iso(one.at), one.epc, f"{one.rssi + 100:g}", str(one.level)),
    )
    with pytest.raises(strategist.InputError, match="all positive"):
        imported(log, SHEET, TAGS)
    found = imported(log, SHEET, TAGS, log={"forms": {"rssi": "minus_dbm"}})
    assert "rssi_falls" in kinds(found)
    assert "RSSI falls where power rises" in text(found, "rssi_falls")


def test_a_tag_with_and_without_its_pc_word() -> None:
    log = log_of(
        ("time", "epc", "rssi", "power"),
        lambda i, one: (iso(one.at), pc_epc(one.epc) if i % 3 else one.epc, str(one.rssi),
                        str(one.level)),
    )  # fmt: skip
    found = imported(log, SHEET, TAGS)
    assert "with its PC word" in text(found, "tag_under_two_epcs")


def test_epcs_that_are_another_one_with_more_round_it() -> None:
    epc = "3066C4409047E140075BCD15"
    pairs = under_two_epcs([epc, pc_epc(epc), with_crc(epc), "E29F0234"])
    assert [(short, how) for _, short, how in pairs] == [
        (epc, "with its PC word"),
        (epc, "with PC word and CRC"),
    ]


def test_one_tid_under_two_epcs() -> None:
    log = log_of(
        ("time", "epc", "rssi", "power", "TID"),
        lambda i, one: (iso(one.at), one.epc, str(one.rssi), str(one.level), "E29F0234"),
    )
    assert "1 TID was read under more than one EPC" in text(
        imported(log, SHEET, TAGS), "tid_under_two_epcs"
    )


def test_a_tid_of_each_epc_is_no_suspicion_and_one_of_two_is() -> None:
    first, second = list(dict.fromkeys(one.epc for one in MADE.reads))[:2]

    def found(alike: dict[str, str]) -> strategist.Imported:
        log = log_of(
            ("time", "epc", "rssi", "power", "TID"),
            lambda i, one: (
                *(iso(one.at), one.epc, str(one.rssi), str(one.level)),
                f"E2{alike.get(one.epc, one.epc)[-14:]}",
            ),
        )
        return imported(log, SHEET, TAGS)

    assert "tid_under_two_epcs" not in kinds(found({}))
    told = text(found({first: second}), "tid_under_two_epcs")
    assert told.startswith("1 TID was read") and first in told and second in told


def test_an_antenna_that_never_reports_and_one_that_fell_silent() -> None:
    last = MADE.passes[3]

    def row(i: int, one: Read) -> tuple[str, ...]:
        port = "2" if i % 2 and one.pass_id <= last else "4"
        return (iso(one.at), one.epc, str(one.rssi), str(one.level), port)

    log = log_of(("time", "epc", "rssi", "power", "antenna"), row)
    found = imported(log, SHEET, TAGS)
    assert "Antenna 1, 3 never reports" in text(found, "antenna_never_reports")
    made = facts("sorting-belt", 20, 3)
    more = [("time", "epc", "rssi", "power", "antenna")]
    for i, one in enumerate(made.reads):
        port = "1" if i % 2 and one.pass_id <= "p0010" else "2"
        more.append((iso(one.at), one.epc, str(one.rssi), str(one.level), port))
    files = (text_of(more), text_of(sheet_rows(made)), text_of(tag_rows(made)))
    silent = imported(*files)
    assert "Antenna 1 reports in no pass after p0010: 10 of 20" in text(
        silent, "antenna_fell_silent"
    )
    three = imported(*files, antennas=[1, 2, 3])
    assert "Antenna 3 never reports" in text(three, "antenna_never_reports")


def test_levels_that_differ_between_log_and_sheet() -> None:
    sheet = [("pass", "start", "end", "power")]
    for name in MADE.passes:
        for level in MADE.levels:
            ends = (MADE.start(name, level), MADE.end(name, level))
            said = "19" if level == 20 else str(level)
            sheet.append((name, *(iso(at) for at in ends), said))
    found = imported(text_of(log_rows(MADE)), text_of(sheet), TAGS)
    count = sum(one.level == 20 for one in MADE.reads)
    assert f"In {count} of {len(MADE.reads)} reads" in text(found, "levels_differ")


def test_a_log_that_was_given_twice() -> None:
    head, *rows = log_rows(MADE)
    found = imported(text_of([head, *rows, *rows[:7]]), SHEET, TAGS)
    assert "7 reads repeat another" in text(found, "reads_repeated")


def test_a_pass_in_which_nothing_was_read() -> None:
    log = text_of([row for row in log_rows(MADE) if "T08:10:" not in row[0] and
                   "T08:11:" not in row[0]])  # fmt: skip
    assert "In 1 of 8 passes" in text(imported(log, SHEET, TAGS), "passes_silent")
