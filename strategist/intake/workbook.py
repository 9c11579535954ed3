"""Workbooks (.xlsx): each sheet as a table of text, within bounds.

openpyxl is asked directly and row by row: pandas would read all of a sheet before anything could be
bounded.
"""

from __future__ import annotations

import datetime
import io
import zipfile
from collections.abc import Sequence
from typing import Any

import openpyxl

from strategist.errors import InputError
from strategist.intake.llrp_xml import refuse_document_type
from strategist.intake.sheet import COLUMNS_MAX, Sheet, sheet_of_columns
from strategist.intake.values import is_value

_UNPACKED_MAX = 150_000_000  # bytes of all parts
_RATIO_MAX = 200  # of a part, unpacked to packed; sheets come to 10 or 20
_RATIO_FROM = 1_000_000  # bytes below which a part may be as it likes
_PARTS_MAX = 1000
_CELLS_MAX = 3_000_000
_ROWS_MAX = 1_048_576  # of the format
_HEADER_WITHIN = 50  # rows
_MIDNIGHT = datetime.time()


def sheets_of_workbook(data: bytes, source: str) -> list[Sheet]:
    """The sheets that hold something; raises InputError for a broken or hostile file, and for
    formulas, whose values only the program that wrote them knows."""
    _refuse_hostile(data, source)
    try:
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=False)
    except Exception as error:  # openpyxl raises whatever its parts do
        raise _broken(source) from error
    found = []
    try:
        for sheet in book.worksheets:
            table = _table(sheet, source)
            if table is not None:
                found.append(table)
    except InputError:
        raise
    except Exception as error:
        raise _broken(source) from error
    finally:
        book.close()
    if not found:
        raise InputError.one(source, "", "a header line and rows", wrong="holds empty sheets alone")
    return found


def _broken(source: str) -> InputError:
    todo = "Open it in a spreadsheet program and save it again as .xlsx, or as CSV."
    return InputError.one(source, "", todo, wrong="cannot be read as a workbook (.xlsx)")


def _refuse_hostile(data: bytes, source: str) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            parts = packed.infolist()
            unpacked = sum(part.file_size for part in parts)
            if len(parts) > _PARTS_MAX:
                allowed = f"at most {_PARTS_MAX:,} parts"
                raise InputError.one(source, "", allowed, wrong=f"has {len(parts):,} parts")
            if unpacked > _UNPACKED_MAX:
                allowed = f"at most {_UNPACKED_MAX:,} bytes unpacked; export it as CSV"
                raise InputError.one(source, "", allowed, wrong=f"has {unpacked:,} bytes unpacked")
            for part in parts:
                ratio = part.file_size / max(part.compress_size, 1)
                if part.file_size > _RATIO_FROM and ratio > _RATIO_MAX:
                    found = f"its part {part.filename} is packed {ratio:.0f} to 1"
                    raise InputError.one(source, "", f"at most {_RATIO_MAX} to 1", wrong=found)
                if part.filename.endswith((".xml", ".rels")):
                    with packed.open(part) as file:
                        refuse_document_type(file.read(4096), source)
    except InputError:
        raise
    except Exception as error:  # zipfile and zlib raise whatever their parts do
        raise _broken(source) from error


def _table(sheet: Any, source: str) -> Sheet | None:
    """The sheet with the header taken from its fullest row of the first; None where it is empty."""
    sheet.reset_dimensions()  # what the file says of its size need not be so
    rows: list[tuple[int, list[Any]]] = []
    cells = 0
    for number, row in enumerate(sheet.iter_rows(), 1):
        if number > _ROWS_MAX:
            raise InputError.one(
                source, "", f"at most {_ROWS_MAX:,}", wrong=f"has more than {_ROWS_MAX:,} rows"
            )
        if len(row) > COLUMNS_MAX:
            found = f"the row has {len(row):,} columns"
            raise InputError.one(
                source, "", f"at most {COLUMNS_MAX:,} columns", line=number, wrong=found
            )
        values = [_value(cell, source) for cell in row]
        if any(value is not None and value != "" for value in values):
            rows.append((number, values))
            cells += len(values)
        if cells > _CELLS_MAX:
            allowed = f"at most {_CELLS_MAX:,} cells; export it as CSV"
            raise InputError.one(source, "", allowed, wrong=f"has more than {_CELLS_MAX:,} cells")
    return _of_rows(rows, source, sheet.title) if rows else None


def _value(cell: Any, source: str) -> Any:
    if getattr(cell, "data_type", "") == "f":
        found, where = f"cell {cell.coordinate} holds a formula", cell.row
        todo = "Copy the cells and paste them as values."
        raise InputError.one(source, "", todo, line=where, wrong=found)
    return cell.value


def _of_rows(rows: Sequence[tuple[int, list[Any]]], source: str, part: str) -> Sheet:
    filled = [sum(v not in (None, "") for v in values) for _, values in rows[:_HEADER_WITHIN]]
    at = filled.index(max(filled))
    header = [_text(value, dates=False) for value in rows[at][1]]
    named = not any(is_value(name) for name in header if name)
    body = rows[at + named :]
    width = max([len(header), *(len(values) for _, values in body)])
    columns = []
    for place in range(width):
        cells = [values[place] if place < len(values) else None for _, values in body]
        stamps = [one for one in cells if isinstance(one, datetime.datetime)]
        dates = bool(stamps) and all(one.time() == _MIDNIGHT for one in stamps)
        columns.append([_text(one, dates=dates) for one in cells])
    names = header if named else [""] * len(header)
    names = [names[i] if i < len(names) else "" for i in range(width)]
    kept = [i for i in range(width) if names[i] or any(columns[i])]
    full = [names[i] or f"column {i + 1}" for i in kept]
    if len(set(full)) < len(full):
        twice = next(name for name in full if full.count(name) > 1)
        raise InputError.one(
            source,
            "",
            "each column name once",
            line=rows[at][0],
            wrong=f'the column name "{twice}" stands more than once',
        )
    before = "1 row before the header was" if at == 1 else f"{at} rows before the header were"
    notes = [f"{before} left out"] if at else []
    lines = [number for number, _ in body]
    chosen = [columns[i] for i in kept]
    return sheet_of_columns(source, full, chosen, lines, notes, named=named, part=part)


def _text(value: Any, *, dates: bool) -> str:
    """A cell's value as a person would write it; times in ISO form."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, datetime.datetime):
        return value.date().isoformat() if dates else value.isoformat(" ")
    if isinstance(value, datetime.timedelta):
        return f"{value.total_seconds():g}"
    return str(value).strip()
