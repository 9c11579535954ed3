"""What raw files may hold at most: as much is taken, and less of a limit refuses it with words."""

from __future__ import annotations

import io
import zipfile
from types import ModuleType

import pytest

from strategist.errors import InputError
from strategist.intake import delimited, json_rows, open_file, workbook
from strategist.intake.open_file import sheets_of
from tests.intake.writers import workbook as book_of

TEXT = b"title\nof it\na,b,c\n1,2,3\n4,5,6\n7,8,9\n1,1,1\n10,10,10\n"
JSON = b'{"a": 1, "b": 2, "c": 3}\n'
BOOK = book_of([("a", "b", "c"), ("1", "2", "3"), ("4", "5", "6")])
with zipfile.ZipFile(io.BytesIO(BOOK)) as packed:
    PARTS = packed.infolist()

LIMITS: dict[str, tuple[ModuleType, str, bytes, float]] = {
    "characters of a line": (delimited, "_LINE_MAX", TEXT, 8),
    "columns of text": (delimited, "COLUMNS_MAX", TEXT, 3),
    "lines before the header": (delimited, "_PREAMBLE_MAX", TEXT, 2),
    "characters of a line of JSON": (json_rows, "_LINE_MAX", JSON, 24),
    "keys": (json_rows, "COLUMNS_MAX", JSON, 3),
    "bytes": (open_file, "BYTES_MAX", TEXT, len(TEXT)),
    "rows of a workbook": (workbook, "_ROWS_MAX", BOOK, 3),
    "columns of a workbook": (workbook, "COLUMNS_MAX", BOOK, 3),
    "cells": (workbook, "_CELLS_MAX", BOOK, 9),
    "parts": (workbook, "_PARTS_MAX", BOOK, len(PARTS)),
    "bytes unpacked": (workbook, "_UNPACKED_MAX", BOOK, sum(part.file_size for part in PARTS)),
}


@pytest.mark.parametrize("name", LIMITS)
def test_at_a_limit(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    module, limit, data, most = LIMITS[name]
    monkeypatch.setattr(module, limit, most)
    assert sheets_of("x", data)[0].names == ("a", "b", "c")
    monkeypatch.setattr(module, limit, most - 1)
    with pytest.raises(InputError) as caught:
        sheets_of("x", data)
    (fault,) = caught.value.faults
    assert f"at most {most - 1:,}" in fault.allowed
    if name != "bytes":
        assert f"{most:,}" in str(fault.wrong) or "more than" in str(fault.wrong)


def test_how_much_a_part_may_be_packed(monkeypatch: pytest.MonkeyPatch) -> None:
    """The part that is packed most, and the largest."""
    most = max(part.file_size / part.compress_size for part in PARTS)
    largest = max(part.file_size for part in PARTS)
    for ratio, size, refused in (
        (most, 0, False),
        (most - 0.001, 0, True),
        (0, largest, False),
        (0, largest - 1, True),
    ):
        monkeypatch.setattr(workbook, "_RATIO_MAX", ratio)
        monkeypatch.setattr(workbook, "_RATIO_FROM", size)
        if refused:
            with pytest.raises(InputError, match="is packed"):
                sheets_of("x", BOOK)
        else:
            assert sheets_of("x", BOOK)


@pytest.mark.parametrize(("before", "found"), [(49, True), (50, False)])
def test_the_header_of_a_workbook_is_its_fullest_row_of_fifty(before: int, found: bool) -> None:
    data = book_of([("title",)] * before + [("a", "b"), ("1", "2")])
    assert (sheets_of("x", data)[0].names == ("a", "b")) == found


def test_limits_as_they_are_written() -> None:
    """Those that no file of these tests is large enough for."""
    assert (workbook._UNPACKED_MAX, workbook._CELLS_MAX) == (150_000_000, 3_000_000)
    assert (workbook._ROWS_MAX, workbook._PARTS_MAX) == (2**20, 1000)  # rows: those of the format
    assert (workbook._RATIO_MAX, workbook._RATIO_FROM) == (200, 1_000_000)
    assert open_file.BYTES_MAX == 300_000_000
