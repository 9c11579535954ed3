"""Truncated, mixed and hostile files end with a clear error before they cost anything."""

from __future__ import annotations

import contextlib
import io
import json
import random
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

import strategist
from strategist.errors import InputError
from strategist.intake import open_file, workbook
from strategist.intake.open_file import sheets_of
from tests.intake.given import drawn, imported, log_rows, sheet_rows, tag_rows, text_of
from tests.intake.writers import MAKES
from tests.intake.writers import workbook as book_of

MADE = drawn()
LOG, SHEET, TAGS = (text_of(rows(MADE)) for rows in (log_rows, sheet_rows, tag_rows))


def packed(parts: dict[str, bytes]) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as made:
        for name, data in parts.items():
            made.writestr(name, data)
    return file.getvalue()


def altered(change: Callable[[str], str]) -> bytes:
    """A sound workbook whose sheet's XML was changed."""
    with zipfile.ZipFile(io.BytesIO(book_of([("epc", "rssi"), ("30AA", -60)]))) as book:
        parts = {name: book.read(name) for name in book.namelist()}
    name = "xl/worksheets/sheet1.xml"
    parts[name] = change(parts[name].decode()).encode()
    return packed(parts)


def formulas() -> bytes:
    book, file = openpyxl.Workbook(), io.BytesIO()
    book.active.append(("pass", "start", "end"))
    book.active.append(("p1", "2026-03-09 08:00", "=B2+1"))
    book.save(file)
    return file.getvalue()


FILES: dict[str, tuple[bytes, str]] = {
    "a zip bomb": (packed({"xl/worksheets/sheet1.xml": b"0" * 20_000_000}), "packed 1028 to 1"),
    "many parts": (packed({f"{i}.xml": b"" for i in range(1500)}), "1,500 parts"),
    "a workbook cut off": (
        book_of([("epc", "rssi"), ("30AA", -60)])[:-200],
        "cannot be read as a workbook",
    ),
    "a zip that is no workbook": (packed({"a.txt": b"epc,rssi"}), "cannot be read as a workbook"),
    "entities": (packed({"xl/workbook.xml": b"<!DOCTYPE a [<!ENTITY b 'c'>]><a/>"}), "DOCTYPE"),
    "a formula": (formulas(), "cell C2 holds a formula"),
    "a row number beyond the format": (
        altered(lambda xml: xml.replace('r="2"', 'r="99999999"').replace('2"', '99999999"')),
        "rows",
    ),
    "a size that is not so": (
        altered(lambda xml: xml.replace("A1:B2", "A1:XFD1048576")),
        "",
    ),
    "an old workbook": (b"\xd0\xcf\x11\xe0" + b"\0" * 600, "old format"),
    "a packed log": (b"\x1f\x8b\x08\0" + b"x" * 90, "is packed (gzip)"),
    "a million columns": ((";".join(f"c{i}" for i in range(1_000_000)) + "\n").encode(), "100,000"),
    "2,000 columns": ((",".join(f"c{i}" for i in range(2000)) + "\n").encode(), "2,000 columns"),
    "one endless line": (b"x" * 3_000_000, "characters"),
    "zero bytes in text": (b"time,epc\n1,\0\0\n", "line 2"),
    "nothing": (b"", "empty"),
    "blanks": (b"\n\n  \n", "empty"),
    "UTF-16 cut in the middle": ("time,epc,rssi".encode("utf-16")[:-1], "UTF-16"),
    "JSON that is nested too deep": (b"[" * 100_000, "JSON"),
    "JSON cut off": (b'{"epc": "30AA", "rssi": -60}\n{"epc": "30', "line 2"),
    "a JSON array cut off": (b'[{"epc": "30AA"},\n{"epc": "30', "line 2"),
    "a JSON array with a number in it": (b'[{"epc": "30AA"}, 7]', "line 2"),
    "JSON that is no UTF-8": (b'{"epc": "30AA"}\n{"epc": "\xff"}', "line 2"),
    "JSON of many keys": (json.dumps({f"k{i}": 1 for i in range(2000)}).encode(), "keys"),
    "JSON of other things": (b"[1, 2, 3]", "an object"),
    "XML with entities": (b'<!DOCTYPE a [<!ENTITY b "cc">]><a>&b;</a>', "DOCTYPE"),
    "XML of something else": (b"<html><body/></html>", "no tag report"),
    "a column name twice": (b"time,epc,epc\n1,2,3\n", "each column name once"),
}


@pytest.mark.parametrize("name", FILES)
def test_it_is_refused_with_words(name: str) -> None:
    data, words = FILES[name]
    if name == "a size that is not so":
        (sheet,) = sheets_of("x", data)
        assert sheet.names == ("epc", "rssi") and len(sheet.sample) == 1
        return
    with pytest.raises(InputError) as error:
        sheets_of("x.log", data)
    assert words in str(error.value)
    assert "x.log" in str(error.value) and len(str(error.value)) < 800


def test_a_log_cut_off_in_a_line_is_told_with_the_line() -> None:
    with pytest.raises(InputError) as error:
        imported(LOG[: LOG.rindex(",")], SHEET, TAGS)
    line = LOG.count("\n")
    assert f"raw.csv, line {line}" in str(error.value)
    assert "the row has 3 fields" in str(error.value)


def test_lines_of_another_file_in_between_are_told() -> None:
    lines = LOG.splitlines()
    lines[7:7] = ["reader restarted", "a,b"]
    with pytest.raises(InputError) as error:
        imported("\n".join(lines), SHEET, TAGS)
    assert "raw.csv, line 8" in str(error.value) and "raw.csv, line 9" in str(error.value)


def test_decimal_commas_between_commas_are_told() -> None:
    lines = [line.replace("-50.5", "-50,5") for line in LOG.splitlines()]
    with pytest.raises(InputError) as error:
        imported("\n".join(lines), SHEET, TAGS)
    assert "decimal commas" in str(error.value)


def test_a_quote_that_is_never_closed_is_told() -> None:
    with pytest.raises(InputError) as error:
        imported(LOG + '"', SHEET, TAGS)
    assert "line" in str(error.value)


def test_a_thousand_faults_are_listed_and_the_others_counted() -> None:
    lines = ["time,epc,rssi,power", *(f"x,y{i},z,w" for i in range(5000))]
    with pytest.raises(InputError) as error:
        imported("\n".join(lines), SHEET, TAGS)
    assert len(error.value.faults) <= 3 * 1002


def test_a_file_that_is_too_large_is_not_read(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(open_file, "BYTES_MAX", 100)
    (tmp_path / "x.csv").write_text(LOG)
    with pytest.raises(InputError, match="at most 100 bytes"):
        sheets_of("x.csv", tmp_path / "x.csv")


def test_cells_of_a_workbook_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbook, "_CELLS_MAX", 30)
    with pytest.raises(InputError, match="at most 30 cells"):
        sheets_of("x.xlsx", book_of([("a", "b")] * 40))


def test_a_folder_and_a_name_that_is_none() -> None:
    for name in ("/tmp", "/no/such/file", "a\0b"):
        with pytest.raises(InputError):
            sheets_of(name, Path(name))


@pytest.mark.parametrize("make", MAKES)
def test_damaged_files_are_taken_or_refused_and_nothing_else(make: str) -> None:
    """Bytes changed, lost, doubled or cut off at random: an import or an InputError."""
    rng = random.Random(f"damage {make}")
    written = MAKES[make](drawn("sorting-belt", 3, 3))
    mapping = strategist.parse_mapping(json.dumps(written.mapping).encode(), "mapping")
    for _ in range(6):
        logs = {name: damaged(data, rng) for name, data in written.logs.items()}
        sheet = written.sheet and damaged(written.sheet, rng)
        with contextlib.suppress(InputError):
            strategist.import_log(
                logs,
                run_sheet={"runs": sheet} if sheet is not None else None,
                tags={"tags": written.tags},
                mapping=mapping,
            )


def damaged(data: bytes, rng: random.Random) -> bytes:
    found = bytearray(data)
    for _ in range(rng.choice([0, 1, 2, 9])):
        at = rng.randrange(len(found))
        kind = rng.randrange(5)
        if kind == 0:
            found[at] = rng.randrange(256)
        elif kind == 1:
            del found[at : at + rng.choice([1, 5, 50])]
        elif kind == 2:
            found[at:at] = bytes(rng.choice(b';,\t"\n\r 0-+{}<>') for _ in range(3))
        elif kind == 3:
            found[at:at] = found[:40]
        else:
            found = found[: at + 1]
    return bytes(found)
