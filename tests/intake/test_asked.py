"""What two readings fit is never guessed: the import says what is missing and how to give it."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest

from strategist.errors import InputError
from tests.intake.given import (
    case_files,
    drawn,
    imported,
    log_rows,
    of_case,
    sheet_rows,
    tag_rows,
    text_of,
)
from tests.intake.writers import milliwatts

MADE = drawn()
SHEET, TAGS = (text_of(rows(MADE)) for rows in (sheet_rows, tag_rows))
EPC = "2D76451FD4499602D2000000"  # GSRN-96, whose first word could be the PC word of five more


def log(column: int, cell: Any, name: str | None = None) -> str:
    """The plain log with one column written otherwise."""
    head, *rows = (list(row) for row in log_rows(MADE))
    head[column] = name or head[column]
    for row, one in zip(rows, MADE.reads, strict=True):
        row[column] = cell(one)
    return text_of([head, *rows])


CASES = {
    "day or month first": (
        log(0, lambda one: one.at.strftime("%m/%d/%Y %I:%M:%S.%f %p")),
        "may be day.month.year or month/day/year",
        {"log": {"forms": {"time": "m/d/y"}}},
    ),
    "RSSI without a sign": (
        log(2, lambda one: f"{-one.rssi}"),
        "all positive, and RSSI in dBm is negative",
        {"log": {"forms": {"rssi": "minus_dbm"}}},
    ),
    "power in dBm or mW": (
        log(3, lambda one: milliwatts(one.level) if one.level <= 16 else "40", "power"),
        "may be dBm or mW",
        {"log": {"forms": {"power": "mw"}}},
    ),
    "no level anywhere": (
        log(3, lambda one: "", "phase"),
        "a column of levels in the log, or on the run sheet",
        None,
    ),
    "no RSSI": (log(2, lambda one: "x", "phase"), 'columns "time", "epc", "phase"', None),
    "an EPC that a spreadsheet rounded": (
        log(1, lambda one: "3.31645E+23"),
        "a spreadsheet has rounded this one",
        None,
    ),
    "an EPC without its first zero": (log(1, lambda one: one.epc[1:]), "a digit is lacking", None),
    "a pure identity": (
        log(1, lambda one: "urn:epc:id:grai:9521141.12345.5678"),
        '"epc_filter": 0 to 7',
        {"epc_filter": 3},
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_it_is_asked_for_and_the_answer_is_taken(case: str) -> None:
    text, words, answer = CASES[case]
    with pytest.raises(InputError) as error:
        imported(text, SHEET, TAGS)
    assert words in str(error.value)
    if answer is not None:
        found = imported(text, SHEET, TAGS, **answer)
        if case not in ("a pure identity", "power in dBm or mW"):
            assert of_case(found.files) == case_files(MADE)


@pytest.mark.parametrize("case", ["day or month first", "RSSI without a sign"])
def test_the_example_in_the_message_is_a_mapping_that_is_taken(case: str) -> None:
    text, _, _ = CASES[case]
    with pytest.raises(InputError) as error:
        imported(text, SHEET, TAGS)
    (example,) = re.findall(r"in the mapping file, as (\{.*\})", str(error.value))
    try:
        imported(text, SHEET, TAGS, **json.loads(example))
    except InputError as other:  # taken, and then found not to fit
        assert "forms" not in str(other)


def test_an_epc_that_may_begin_with_its_pc_word() -> None:
    """GSRN-96 begins like a PC word: the header decides where the rest is no scheme's."""
    found = imported(log(1, lambda one: EPC), SHEET, f"epc,role\n{EPC},wanted\n")
    assert f",{EPC},wanted" in found.files["roster.csv"]


def test_pauses_that_would_do_are_told() -> None:
    sheet = text_of([("pass", "remarks"), *((name, "") for name in MADE.passes)])
    with pytest.raises(InputError) as error:
        imported(text_of(log_rows(MADE)), sheet, TAGS)
    assert "pause_s in the mapping file" in str(error.value)
    assert "(more than " in str(error.value)
